/* Names on the plan that keep out of each other's way. */
"use strict";
asbuilt.labels = (() => {
  const { map, el, text, toLatLng, lengths, parts } = asbuilt;
  const labels = [];
  map.createPane("labels").classList.add("leaflet-zoom-hide");

  /** rank: 0 always; 1 lids; 2 names; 3 small points, only when near. places: [where, shift x, shift y] by preference. */
  function add(words, className, rank, places, shown) {
    const node = el("div", { class: `label ${className}` }, words);
    map.getPane("labels").append(node);
    labels.push({ node, rank, places, shown });
    return labels.at(-1);
  }

  const around = (where, gap) => [[where, gap, 0], [where, -gap, 0], [where, 0, -gap], [where, 0, gap]];
  const askew = (where, gap) => [[where, gap, gap], [where, -gap, gap], [where, gap, -gap], [where, -gap, -gap]];
  const between = (a, b, share) => L.latLng(a.lat + (b.lat - a.lat) * share, a.lng + (b.lng - a.lng) * share);

  function placesFor(f, where) {
    if (parts.isPoint(f)) return around(where[0], 17);
    if (f.parts[0].type === "line") {
      const longest = where.slice(1).map((b, i) => [where[i], b]).sort((p, q) => map.distance(...q) - map.distance(...p));
      return longest.slice(0, 3).flatMap(([a, b]) => [0.5, 0.3, 0.7].flatMap((share) => around(between(a, b, share), 9)));
    }
    const box = L.latLngBounds(where);
    const middle = box.getCenter();
    return [[middle, 0, 0], ...around(middle, 26), ...askew(middle, 22), [box.getSouthWest(), 0, 6], [box.getNorthEast(), 0, -6]];
  }

  function labelFor(f) {
    const where = parts.cornersOf(f);
    if (!where.length) return;
    const owner = parts.componentOf(f); // drawn as a line or an area it carries its own label, so the point's short name will do
    const drawn = owner && owner.parts.length && !parts.isPoint(owner);
    const own = drawn ? f.attributes.point : owner && parts.pointsOf(owner).length === 1 ? owner.name : null;
    if (f.role === "component" && parts.isPoint(f) && parts.pointsOf(f).length) return;
    const rank = parts.isLid(f) || f.role === "proposed" ? 1 : f.role === "point" && f.symbol === "spot" ? 3 : 2;
    const near = { 1: 2.5, 2: 1.5, 3: 18 }[rank];
    const shown = () => parts.isShown(f) && lengths.pixelsPerMetre() > near;
    const label = add(text(own || f.name), f.role, rank, placesFor(f, where), shown);
    label.feature = f;
    label.node.style.borderColor = parts.groupOf(f).colour;
  }

  const within = (a, b) => a[0] >= b[0] && a[1] >= b[1] && a[2] <= b[2] && a[3] <= b[3];
  const overlap = (a, b) => a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3];
  const rankOf = (label) => (label.needed ? 0 : label.rank);

  function boxesOf(label) {
    const [w, h] = [label.node.offsetWidth, label.node.offsetHeight];
    return label.places.map(([where, dx, dy]) => {
      const { x, y } = map.latLngToLayerPoint(where);
      const left = x + dx - (dx > 0 ? 0 : dx < 0 ? w : w / 2);
      const top = y + dy - (dy > 0 ? 0 : dy < 0 ? h : h / 2);
      return [left, top, left + w, top + h];
    });
  }

  function place() {
    document.body.classList.toggle("near", lengths.pixelsPerMetre() > 50); // small symbols, so that the ellipses show
    const symbols = parts.features.filter((f) => parts.isPoint(f) && f.symbol !== "spot" && parts.isShown(f))
      .map((f) => map.latLngToLayerPoint(toLatLng(f.parts[0].at))).map(({ x, y }) => [x - 10, y - 10, x + 10, y + 10]);
    const taken = [];
    const corner = map.containerPointToLayerPoint([0, 0]);
    const view = [corner.x, corner.y, corner.x + map.getSize().x, corner.y + map.getSize().y];
    for (const label of [...labels].sort((a, b) => rankOf(a) - rankOf(b))) {
      label.node.hidden = !label.shown();
      if (label.node.hidden) continue;
      const boxes = boxesOf(label).sort((a, b) => within(b, view) - within(a, view)); // stable: the preferred side stays first
      const free = boxes.find((box) => ![...symbols, ...taken].some((other) => overlap(box, other)))
        || (rankOf(label) < 2 && boxes.find((box) => !taken.some((other) => overlap(box, other))))
        || (rankOf(label) === 0 && boxes[0]);
      label.node.hidden = !free;
      if (!free) continue;
      taken.push(free);
      L.DomUtil.setPosition(label.node, L.point(Math.round(free[0]), Math.round(free[1])));
    }
  }

  /** Take off a label that was added for a while. */
  function remove(label) {
    label.node.remove();
    labels.splice(labels.indexOf(label), 1);
  }

  /** Let the names that were needed for a while go back to their own rank. */
  function rest() {
    for (const label of labels) label.needed = false;
  }

  const ofMark = (name) => labels.find((label) => label.feature?.role === "reference" && label.feature.name === name) || null;

  return { add, remove, rest, place, labelFor, ofMark, around, between };
})();
