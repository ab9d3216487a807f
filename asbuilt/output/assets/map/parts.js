/* What is on the plan: the features by name, which belong together, and which are shown. */
"use strict";
asbuilt.parts = (() => {
  const { data, map, toLatLng } = asbuilt;
  const features = data.features;
  const components = features.filter((f) => f.role === "component");
  const groups = new Map(data.groups.map((g) => [g.key, { ...g, layer: window[data.frame.layers[g.key]] }]));

  // A part may have been replaced by another of the same name: the points are those of the one that still stands.
  const standing = (f) => !f.attributes.removed_on;
  const byName = new Map([...components].sort((a, b) => standing(a) - standing(b)).map((c) => [c.name, c]));
  const componentOf = (f) => (f.role === "point" && byName.get(f.attributes.component)) || null;
  const points = features.filter((f) => f.role === "point");
  const pointsOf = (component) => points.filter((f) => componentOf(f) === component);
  const named = (name) => ["point", "component", "reference", "building"]
    .map((role) => features.find((f) => f.role === role && f.name === name)).find(Boolean) || null;

  const isPoint = (f) => f.parts[0]?.type === "point";
  const isLid = (f) => f.role === "point" && (f.symbol === "lid" || f.symbol === "cleanout");
  const isUnsure = (f) => f.role === "point" && f.attributes.checked === false;
  const lids = features.filter(isLid);

  // ------------------------------------------------------------ shown or not: its layer, and what the filters say

  const drawn = new Map(); // feature -> what Leaflet drew of it
  const hidden = new Set(); // features that a filter takes off
  const groupOf = (f) => groups.get(f.group);
  const isShown = (f) => map.hasLayer(groupOf(f).layer) && !hidden.has(f);

  /** Add something drawn to the layer of a feature. */
  function put(f, layer) {
    if (!drawn.has(f)) drawn.set(f, []);
    drawn.get(f).push(layer);
    layer.addTo(groupOf(f).layer);
  }

  function hide(f, away) {
    if (hidden.has(f) === away) return;
    if (away) hidden.add(f);
    else hidden.delete(f);
    const layer = groupOf(f).layer;
    for (const piece of drawn.get(f) || []) away ? layer.removeLayer(piece) : layer.addLayer(piece);
  }

  /** All corners of a feature, as Leaflet wants them. */
  const cornersOf = (f) => f.parts.flatMap((part) =>
    part.type === "point" ? [toLatLng(part.at)] : part.at.flat(part.type === "area" ? 1 : 0).map(toLatLng));

  /** Two lids may be a few pixels apart: a thumb means the nearer one, not the one that lies on top. */
  function nearestTo(at, reach) {
    const far = (f) => map.latLngToContainerPoint(toLatLng(f.parts[0].at)).distanceTo(at);
    const near = features.filter((f) => isPoint(f) && isShown(f) && far(f) < reach);
    return near.sort((a, b) => far(a) - far(b))[0] || null;
  }

  return { features, components, points, groups, lids, componentOf, pointsOf, named, isPoint, isLid, isUnsure, isShown, put, hide, groupOf, cornersOf, nearestTo };
})();
