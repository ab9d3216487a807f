/* The distance between two places that one taps; a tap near a point means the point. */
"use strict";
asbuilt.ruler = (() => {
  const { map, text, toLatLng, lengths, parts, says, labels } = asbuilt;
  const drawn = L.layerGroup();
  const say = says.place("Stop", stop);
  const FINGER = 24; // pixels
  let ends = []; // [place, name, feature]
  let label = null;

  const isOn = () => document.body.classList.contains("measuring");

  function start() {
    map.closePopup();
    document.body.classList.add("measuring");
    map.doubleClickZoom.disable(); // two taps are two places
    drawn.addTo(map);
    say("Tap two places.", "A tap near a lid or a corner means that point. With a keyboard: Tab to a point, then Enter.");
  }

  function stop() {
    document.body.classList.remove("measuring");
    map.doubleClickZoom.enable();
    clear();
    drawn.remove();
    say();
    document.getElementById("tool-measure").setAttribute("aria-pressed", "false");
  }

  function clear() {
    ends = [];
    drawn.clearLayers();
    if (label) labels.remove(label);
    label = null;
  }

  map.on("click", ({ latlng, containerPoint }) => {
    if (!isOn()) return;
    const near = parts.nearestTo(containerPoint, FINGER);
    if (near) take(near);
    else add([latlng.lng, latlng.lat], "the place you tapped", null);
  });

  /** Take a point of the plan as one end. */
  function take(f) {
    if (parts.isPoint(f)) add(f.parts[0].at, f.name, f);
    else say(`${f.name} is not a point.`, "Choose a lid, a corner or another point.");
  }

  function add(at, name, f) {
    if (ends.length === 2) clear();
    ends.push([at, name, f]);
    drawn.addLayer(L.circleMarker(toLatLng(at), { radius: 9, color: "#111", weight: 4, fillColor: "#fff", fillOpacity: 1, interactive: false }));
    if (ends.length === 2) measure();
    else say(`From ${text(name)}`, "Now tap the other place.");
    labels.place();
  }

  function measure() {
    const [[a, from, one], [b, to, other]] = ends;
    const metres = lengths.distance(a, b);
    const words = lengths.exactly(metres, one && other ? 0.5 : 1);
    const line = [toLatLng(a), toLatLng(b)];
    for (const [color, weight] of [["#fff", 7], ["#111", 3]]) drawn.addLayer(L.polyline(line, { color, weight, interactive: false }));
    label = labels.add(words, "tape", 0, [0.5, 0.35, 0.65].map((share) => [labels.between(...line, share), 0, 0]), () => true);
    say(words, `${text(from)} to ${text(to)}, level${doubt(one, other)}. Tap again for another.`);
  }

  /** How far off it may be: both points by their own radius; a finger is worse than any. */
  function doubt(one, other) {
    if (!one || !other) return ", as near as a finger can point";
    const radii = [one, other].map((f) => f.attributes.r95_m).filter((radius) => radius > 0);
    return radii.length ? `, good to about ${lengths.roughly(Math.hypot(...radii))}` : "";
  }

  document.addEventListener("keydown", (event) => event.key === "Escape" && isOn() && stop());

  return { isOn, take, toggle: (on) => (on ? start() : stop()) };
})();
