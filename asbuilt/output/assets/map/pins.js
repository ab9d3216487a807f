/* Draws pins over a district from the data block of the page.
 *
 * folium made the map; its layers are switches only, what is drawn lies in one layer of ours. While the map moves
 * nothing is drawn: a pan costs what moving a picture costs.
 */
"use strict";
(() => {
  const { data, map, el, svg, button, toLatLng, still, heaps, search, tools } = asbuilt;
  const panel = document.getElementById("panel");
  const groups = new Map(data.groups.map((g, rank) => [g.key, { ...g, rank, layer: window[data.frame.layers[g.key]] }]));
  const lines = L.layerGroup().addTo(map);
  const drawn = L.layerGroup().addTo(map);
  const DEEPEST = 18;
  const isShown = (key) => !groups.get(key).layer || map.hasLayer(groups.get(key).layer);

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
    return made;
  }

  function drawPin(pin) {
    const icon = L.divIcon({ className: "pin", iconSize: [44, 44], html: symbol(pin.group, pin.label) });
    return marker(toLatLng(pin.at), icon, spoken(pin), () => open(pin), groups.get(pin.group).rank);
  }

  // ------------------------------------------------------------ pins that lie close together

  function drawCluster(pins) {
    const worst = pins[0]; // the most urgent begins a heap
    const badge = el("div", { class: "cluster" }, symbol(worst.group, ""), el("span", { class: "count" }, String(pins.length)));
    const icon = L.divIcon({ className: "pin", iconSize: [48 + 11 * String(pins.length).length, 44], html: badge });
    const box = L.latLngBounds(pins.map((pin) => toLatLng(pin.at)));
    const name = `${pins.length} properties, the most urgent: ${groups.get(worst.group).title}`;
    return marker(toLatLng(pins[0].at), icon, name, () => openCluster(pins, box), groups.get(worst.group).rank);
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

  // ------------------------------------------------------------ drawing

  function drawPath({ group: key, at }) {
    const group = groups.get(key);
    const line = at.map(toLatLng);
    L.polyline(line, { color: "#fff", weight: 8, interactive: false }).addTo(lines);
    L.polyline(line, { color: group.colour, weight: 4, dashArray: group.dash, interactive: false }).addTo(lines);
  }

  const made = new Map(); // heap -> its marker, as long as it is in sight

  /** Bring the markers in line with what is in sight: those that stay are not touched. */
  function draw() {
    const view = map.getBounds().pad(0.2);
    const now = new Set(heaps.at(map.getZoom(), isShown).filter((heap) => view.contains(heap.where)));
    for (const [heap, layer] of made) if (!now.has(heap)) { drawn.removeLayer(layer); made.delete(heap); }
    for (const heap of now) {
      if (made.has(heap)) continue;
      made.set(heap, heap.pins.length > 1 ? drawCluster(heap.pins) : drawPin(heap.pins[0]));
      drawn.addLayer(made.get(heap));
    }
  }

  function drawPaths() {
    lines.clearLayers();
    data.paths.filter((path) => isShown(path.group)).forEach(drawPath);
  }

  // ------------------------------------------------------------ the list beside the map

  function entry(pin) {
    const inside = [symbol(pin.group, pin.label), el("span", {}, ...words(pin))];
    if (!pin.at) return el("div", { class: "open" }, ...inside);
    return button({ class: "open" }, () => show(pin), ...inside);
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
    const fill = () => node.childElementCount > 1 || node.append(...[
      note ? el("p", { class: "note" }, note) : null,
      ...pins.map((number) => entry(data.pins[number])),
      more ? el("p", { class: "note" }, `and ${more} more: Find and the map have them; asbuilt due lists all`) : null,
    ].filter(Boolean));
    node.addEventListener("toggle", () => node.open && fill()); // what nobody opens costs nothing
    if (index === 0 || data.sections.length < 4) { fill(); node.open = true; }
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
    const known = data.pins.map((pin) => [pin, pin.title, [...pin.lines, pin.label].join(" ")]);
    panel.append(head, search.field("Find by name", known, entry), ...data.sections.map(section));
    const last = cautions();
    if (last) panel.append(last);
    if (!data.sections.length) panel.append(el("p", { class: "note" }, "Nothing is due."));
  }

  function showAll() {
    const places = data.pins.filter((pin) => pin.at).map((pin) => toLatLng(pin.at));
    if (places.length) map.fitBounds(L.latLngBounds(places), { paddingTopLeft: [34, 84], paddingBottomRight: [34, 60], maxZoom: 15, animate: false });
    else map.setView([0, 0], 2);
  }

  function find() {
    document.body.classList.remove("map-only");
    search.focus();
  }

  map.setMinZoom(2);
  map.attributionControl.setPrefix("Leaflet");
  L.control.scale({ maxWidth: 160 }).addTo(map);
  fillPanel();
  tools.add("find", "Find", find);
  tools.add("whole", "Show all", showAll);
  tools.addBigger();
  map.invalidateSize({ animate: false });
  showAll();
  draw();
  drawPaths();
  map.on("moveend overlayadd overlayremove resize", draw);
  map.on("overlayadd overlayremove", drawPaths);
  window.addEventListener("beforeprint", () => {
    panel.querySelectorAll("details").forEach((node) => { node.open = true; });
    map.invalidateSize({ animate: false });
    showAll();
  });
  document.documentElement.classList.add("ready");
  document.getElementById("still").remove();
})();
