/* Makes elements, and holds what the other scripts of the page share: the data block and folium's map.
 *
 * Everything that a person typed becomes a text node or an SVG text node, never markup: there is no innerHTML in any of
 * these files, and attributes take only constants, numbers, our own keys and names as plain text.
 * Places are longitude, latitude everywhere; `toLatLng` is the one place that turns them round for Leaflet.
 */
"use strict";
window.asbuilt = (() => {
  const data = JSON.parse(document.getElementById("plan-data").textContent);
  const map = window[data.frame.map];

  function build(node, attributes, children) {
    for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
    node.append(...children.flat().filter((child) => child !== null && child !== ""));
    return node;
  }
  const el = (tag, attributes = {}, ...children) => build(document.createElement(tag), attributes, children);
  const svg = (tag, attributes = {}, ...children) =>
    build(document.createElementNS("http://www.w3.org/2000/svg", tag), attributes, children);

  /** A picture that says nothing by itself. */
  const picture = (box, size, ...children) =>
    svg("svg", { viewBox: `0 0 ${box} ${box}`, width: size, height: size, "aria-hidden": "true" }, ...children);

  function button(attributes, act, ...children) {
    const node = el("button", { type: "button", ...attributes }, ...children);
    node.addEventListener("click", () => act(node));
    return node;
  }

  /** Put a node on the map as one of its controls. */
  function control(position, node) {
    const made = new (L.Control.extend({ options: { position }, onAdd: () => node }))();
    L.DomEvent.disableClickPropagation(node);
    made.addTo(map);
  }

  const toLatLng = ([longitude, latitude]) => L.latLng(latitude, longitude);
  const text = (value) => (value === null || value === undefined ? "" : String(value));
  const list = (value) => (Array.isArray(value) ? value : []);
  const still = window.matchMedia("(prefers-reduced-motion: reduce)");
  const narrow = window.matchMedia("(max-width: 820px)");

  return { data, map, el, svg, picture, button, control, toLatLng, text, list, still, narrow };
})();
