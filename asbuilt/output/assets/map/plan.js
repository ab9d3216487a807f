/* Draws the plan of one property: puts the pieces of the other scripts together. */
"use strict";
(() => {
  const { map, button, control, still, parts, shapes, labels, card, panel, layers, ruler, whereabouts, scale, tools, search, paper } = asbuilt;

  /** What a tap on a part or on its entry means: an end to measure from, or its card. */
  asbuilt.choose = (f, from) => (ruler.isOn() ? ruler.take(f) : card.open(f, from));

  const NARROW = 500; // pixels: a phone held upright

  function showAll(animate) {
    const bounds = L.latLngBounds(parts.features.filter((f) => f.group !== "gone").flatMap(parts.cornersOf));
    if (bounds.isValid()) map.fitBounds(bounds, card.room(22, animate));
    else map.setView([0, 0], 18, { animate: false });
  }

  /** House and system without what lies far off: a small sheet and a phone are for those who look for a lid. */
  function showSystem() {
    const near = parts.features.filter((f) => !["gone", "survey", "water", "other"].includes(f.group));
    const bounds = L.latLngBounds(near.flatMap(parts.cornersOf));
    if (bounds.isValid()) map.fitBounds(bounds, { padding: [45, 45], maxZoom: 22, animate: false });
    else showAll(false);
  }

  function find() {
    map.closePopup();
    layers.close();
    document.body.classList.remove("map-only");
    search.focus();
  }

  panel.fill();
  layers.fill();
  paper.fill();
  tools.add("find", "Find", find);
  tools.add("layers", "Layers", layers.open);
  tools.addSwitch("measure", "Measure", ruler.toggle);
  tools.addSwitch("where", "Where am\u00a0I", whereabouts.toggle);
  tools.addBigger();
  map.attributionControl.setPrefix("Leaflet");
  map.invalidateSize({ animate: false });
  if (map.getSize().x < NARROW) showSystem();
  else showAll(false);
  shapes.drawAll(asbuilt.choose);
  parts.features.forEach(labels.labelFor);
  const words = "Show the whole property";
  control("topleft", button({ class: "tool", "aria-label": words, title: words }, () => showAll(!still.matches), tools.image("whole")));
  scale.bar();
  scale.north();
  paper.watch(showSystem);
  map.on("moveend viewreset overlayadd overlayremove resize", labels.place);
  labels.place();
  document.documentElement.classList.add("ready");
  document.getElementById("still").remove();
})();
