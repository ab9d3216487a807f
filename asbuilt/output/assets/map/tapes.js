/* "Tapes to this lid": lines from the two best corners to the chosen point, each with what to read off the tape. */
"use strict";
asbuilt.tapes = (() => {
  const { data, el, svg, picture, text, list, toLatLng, labels } = asbuilt;
  let shown = [];

  const foundOf = (f) => (f.role === "point" && data.found[f.name]) || null;

  /** Draw the tapes of a point into a layer; gives the places that must be in sight. */
  function draw(f, layer) {
    const lines = list(foundOf(f)?.lines);
    const point = toLatLng(f.parts[0].at);
    for (const line of lines) {
      const at = line.at.map(toLatLng);
      const dashArray = line.along ? "2 7" : "";
      for (const [color, weight] of [["#fff", 7], ["#111", 3]]) layer.addLayer(L.polyline(at, { color, weight, dashArray, interactive: false }));
      name(line, at[0], point);
      const places = [0.5, 0.4, 0.6, 0.3, 0.7, 0.2].map((share) => [labels.between(at[0], at[1], share), 0, 0]);
      const words = labels.ofMark(line.mark) ? text(line.words) : `${text(line.mark)}: ${text(line.words)}`;
      shown.push(labels.add(words, "tape", 0, places, () => true));
    }
    return lines.flatMap((line) => line.at.map(toLatLng));
  }

  /** The name of the mark is needed now, and moves out of the tape's way. */
  function name(line, mark, point) {
    const label = labels.ofMark(line.mark);
    const [towards, away, above, below] = labels.around(mark, point.lng > mark.lng ? 17 : -17);
    if (label) Object.assign(label, { needed: true, places: [away, below, above, towards] });
  }

  function clear() {
    for (const label of shown) labels.remove(label);
    shown = [];
  }

  /** The same in words: two tapes, and a third that tells whether one of them was misread. */
  function words(f) {
    const found = foundOf(f);
    if (!list(found?.ways).length) return [];
    const arrow = picture(24, 24, svg("path", { d: "M4 12H19M13 5L20 12L13 19", class: "stroke" }));
    const rows = found.ways.map((way) => el("li", {}, arrow.cloneNode(true), el("strong", {}, text(way))));
    const check = found.check ? el("p", { class: "line" }, "To check: ", el("strong", {}, text(found.check))) : null;
    return [el("ul", { class: "ways" }, ...rows), check].filter(Boolean);
  }

  return { draw, clear, words };
})();
