/* Draws pins over a district from the data block of the page.
 *
 * Everything that a person typed becomes a text node or an SVG text node, never markup: there is no innerHTML in this
 * file, and attributes take only constants, numbers and our own keys. folium made the map; its layers are switches
 * only, what is drawn lies in one layer of ours. Places are longitude, latitude; `toLatLng` turns them round.
 */
"use strict";
(() => {
  const data = JSON.parse(document.getElementById("plan-data").textContent);
  const map = window[data.frame.map];
  const panel = document.getElementById("panel");
  const groups = new Map(data.groups.map((g, rank) => [g.key, { ...g, rank, layer: window[data.frame.layers[g.key]] }]));
  const still = window.matchMedia("(prefers-reduced-motion: reduce)");
  const drawn = L.layerGroup().addTo(map);
  const APART = 68; // pixels between two heaps: a thumb, and the width of a heap with its number
  const DEEPEST = 18;

  const toLatLng = ([longitude, latitude]) => L.latLng(latitude, longitude);
  const isShown = (key) => !groups.get(key).layer || map.hasLayer(groups.get(key).layer);

  function build(node, attributes, children) {
    for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
    node.append(...children.flat().filter((child) => child !== null && child !== ""));
    return node;
  }
  const el = (tag, attributes = {}, ...children) => build(document.createElement(tag), attributes, children);
  const svg = (tag, attributes = {}, ...children) =>
    build(document.createElementNS("http://www.w3.org/2000/svg", tag), attributes, children);

  // ------------------------------------------------------------ symbols

  /** The group's outline, with the pin's label or the group's mark in its middle. */
  function symbol(key, label) {
    const group = groups.get(key);
    const words = String(label || group.mark);
    const size = words.length > 2 ? 11 : 14;
    return svg("svg", { viewBox: "0 0 34 34", width: 34, height: 34, "aria-hidden": "true", class: "pin-symbol" },
      svg("path", { d: group.outline, fill: group.colour }),
      words ? svg("text", { x: 17, y: group.outline.startsWith("M17 3L32") ? 22 : 17.5, "font-size": size }, words) : null);
  }

  function words(pin) {
    return [el("strong", {}, pin.title), ...pin.lines.map((line) => el("span", { class: "line" }, line))];
  }

  /** What a screen reader says: the label is part of a picture, so it is said in words too. */
  const spoken = (pin) => `${groups.get(pin.group).title}${pin.label ? ` ${pin.label}` : ""}: ${pin.title}`;

  function open(pin) {
    const where = toLatLng(pin.at);
    popup().setLatLng(where).setContent(el("div", { class: "pin-words" }, ...words(pin))).openOn(map);
  }

  /** Big enough to read, and below the buttons at the top of the map. */
  function popup() {
    const { x, y } = map.getSize();
    const width = Math.min(320, x - 40);
    const room = { autoPanPaddingTopLeft: [12, 74], autoPanPaddingBottomRight: [12, 12] };
    return L.popup({ maxWidth: width, minWidth: Math.min(220, width), maxHeight: Math.max(120, y - 170), ...room });
  }

  function marker(where, icon, name, act, rank) {
    const made = L.marker(where, { icon, zIndexOffset: 1000 - 50 * rank, keyboard: true });
    made.on("add", () => made.getElement().setAttribute("aria-label", name));
    made.on("click", act);
    made.on("keypress", ({ originalEvent }) => "Enter ".includes(originalEvent.key) && act());
    return made.addTo(drawn);
  }

  function drawPin(pin) {
    const icon = L.divIcon({ className: "pin", iconSize: [44, 44], html: symbol(pin.group, pin.label) });
    marker(toLatLng(pin.at), icon, spoken(pin), () => open(pin), groups.get(pin.group).rank);
  }

  // ------------------------------------------------------------ pins that lie close together

  function drawCluster(pins) {
    const worst = pins.reduce((a, b) => (groups.get(b.group).rank < groups.get(a.group).rank ? b : a));
    const badge = el("div", { class: "cluster" }, symbol(worst.group, ""), el("span", { class: "count" }, String(pins.length)));
    const icon = L.divIcon({ className: "pin", iconSize: [48 + 11 * String(pins.length).length, 44], html: badge });
    const box = L.latLngBounds(pins.map((pin) => toLatLng(pin.at)));
    const name = `${pins.length} properties, the most urgent: ${groups.get(worst.group).title}`;
    marker(toLatLng(pins[0].at), icon, name, () => openCluster(pins, box), groups.get(worst.group).rank);
  }

  function openCluster(pins, box) {
    if (map.getZoom() < DEEPEST && !box.getSouthWest().equals(box.getNorthEast(), 1e-6)) {
      map.fitBounds(box, { padding: [60, 60], maxZoom: DEEPEST, animate: !still.matches });
      return;
    }
    const list = pins.slice(0, 50).map((pin) => el("div", { class: "entry" }, symbol(pin.group, pin.label), el("span", {}, ...words(pin))));
    const more = pins.length > 50 ? el("p", {}, `and ${pins.length - 50} more`) : null;
    popup().setLatLng(box.getCenter()).setContent(el("div", { class: "pin-words" }, ...list, more)).openOn(map);
  }

  /** Each pin joins the first heap that began less than a thumb away; the most urgent begin one. */
  function heaps(pins) {
    const cells = new Map(); // heaps by square, so that a pin looks at nine squares and not at all heaps
    const found = [];
    for (const pin of [...pins].sort((a, b) => groups.get(a.group).rank - groups.get(b.group).rank)) {
      const at = map.project(toLatLng(pin.at), map.getZoom());
      const [column, row] = [Math.floor(at.x / APART), Math.floor(at.y / APART)];
      const near = [-1, 0, 1].flatMap((dx) => [-1, 0, 1].flatMap((dy) => cells.get(`${column + dx}:${row + dy}`) || []));
      const heap = near.find((each) => each.at.distanceTo(at) < APART);
      if (heap) heap.pins.push(pin);
      else {
        const begun = { at, pins: [pin] };
        found.push(begun);
        const key = `${column}:${row}`;
        cells.set(key, [...(cells.get(key) || []), begun]);
      }
    }
    return found.map((each) => each.pins);
  }

  // ------------------------------------------------------------ drawing

  function drawPath({ group: key, at }) {
    const group = groups.get(key);
    const line = at.map(toLatLng);
    L.polyline(line, { color: "#fff", weight: 8, interactive: false }).addTo(drawn);
    L.polyline(line, { color: group.colour, weight: 4, dashArray: group.dash, interactive: false }).addTo(drawn);
  }

  function draw() {
    drawn.clearLayers();
    data.paths.filter((path) => isShown(path.group)).forEach(drawPath);
    const view = map.getBounds().pad(0.2);
    const pins = data.pins.filter((pin) => pin.at && isShown(pin.group) && view.contains(toLatLng(pin.at)));
    if (!data.clustered) pins.forEach(drawPin);
    else for (const heap of heaps(pins)) heap.length > 1 ? drawCluster(heap) : drawPin(heap[0]);
  }

  // ------------------------------------------------------------ the list beside the map

  function entry(pin) {
    const inside = [symbol(pin.group, pin.label), el("span", {}, ...words(pin))];
    if (!pin.at) return el("div", { class: "open" }, ...inside);
    const node = el("button", { type: "button", class: "open" }, ...inside);
    node.addEventListener("click", () => show(pin));
    return node;
  }

  function show(pin) {
    const layer = groups.get(pin.group).layer;
    if (layer) map.addLayer(layer);
    const where = toLatLng(pin.at);
    map.setView(where, Math.max(map.getZoom(), data.clustered ? 15 : 12), { animate: false });
    open(pin);
  }

  function section({ title, note, pins, more }, index) {
    const node = el("details", {}, el("summary", {}, el("h2", {}, `${title}`), data.clustered ? el("small", {}, count(pins.length + more)) : null));
    if (index === 0 || data.sections.length < 4) node.open = true;
    if (note) node.append(el("p", { class: "note" }, note));
    node.append(...pins.map((number) => entry(data.pins[number])));
    if (more) node.append(el("p", { class: "note" }, `and ${more} more on the map; asbuilt due lists all of them`));
    return node;
  }
  const count = (number) => (number === 1 ? "1 entry" : `${number} entries`);

  function cautions() {
    if (!data.cautions.length) return null;
    const node = el("details", { class: "cautions-list" }, el("summary", {}, el("h2", {}, "Cautions")));
    node.append(...data.cautions.map((line) => el("p", {}, line)));
    node.open = true;
    return node;
  }

  function fillPanel() {
    const head = el("header", {}, el("h1", {}, data.title), ...data.subtitle.map((line) => el("p", {}, line)));
    panel.append(head, ...data.sections.map(section));
    const last = cautions();
    if (last) panel.append(last);
    if (!data.sections.length) panel.append(el("p", { class: "note" }, "Nothing is due."));
  }

  function showAll() {
    const places = data.pins.filter((pin) => pin.at).map((pin) => toLatLng(pin.at));
    if (places.length) map.fitBounds(L.latLngBounds(places), { padding: [34, 34], maxZoom: 15, animate: false });
    else map.setView([0, 0], 2);
  }

  map.setMinZoom(2);
  map.attributionControl.setPrefix("Leaflet");
  L.control.scale({ maxWidth: 160 }).addTo(map);
  fillPanel();
  map.invalidateSize({ animate: false });
  showAll();
  draw();
  map.on("moveend overlayadd overlayremove resize", draw);
  window.addEventListener("beforeprint", () => { map.invalidateSize({ animate: false }); showAll(); });
})();
