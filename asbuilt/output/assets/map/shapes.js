/* Draws the features: areas under lines under points, and how well each point is known. */
"use strict";
asbuilt.shapes = (() => {
  const { data, map, toLatLng, lengths, symbols, parts } = asbuilt;
  const TURNS = Array.from({ length: 48 }, (_, i) => (i * Math.PI) / 24);
  let choose = () => {};

  function drawPoint(f, at) {
    const group = parts.groupOf(f);
    const size = f.symbol === "spot" ? 28 : 44; // a lid is never hidden under the bend beside it
    const html = symbols.symbol(f.symbol, group.colour, parts.isUnsure(f));
    const icon = L.divIcon({ className: "point", iconSize: [size, size], html });
    const above = parts.isLid(f) ? 1000 : f.symbol === "spot" ? -500 : 0;
    const marker = L.marker(toLatLng(at), { icon, zIndexOffset: above });
    marker.on("add", () => marker.getElement().setAttribute("aria-label", f.name));
    marker.on("click", ({ originalEvent }) => choose(parts.nearestTo(map.mouseEventToContainerPoint(originalEvent), 22) || f, marker.getElement()));
    marker.on("keypress", ({ originalEvent }) => "Enter ".includes(originalEvent.key) && choose(f, marker.getElement()));
    parts.put(f, marker);
    drawRing(f, at, group);
  }

  /** The 95 % ellipse of a point at true scale; where it has none, the circle that holds it 19 times in 20. */
  function drawRing(f, at, group) {
    const ellipse = data.found[f.name]?.ellipse;
    const radius = f.attributes.r95_m;
    if (f.role !== "point" || !(radius > 0)) return;
    const [major, minor, azimuth] = ellipse || [radius, radius, 0];
    const [cos, sin] = [Math.cos((azimuth * Math.PI) / 180), Math.sin((azimuth * Math.PI) / 180)];
    const ring = TURNS.map((turn) => [major * Math.cos(turn), minor * Math.sin(turn)])
      .map(([along, across]) => toLatLng(lengths.moved(at, along * sin + across * cos, along * cos - across * sin)));
    parts.put(f, L.polygon(ring, { className: "ring", color: group.colour, weight: 2, fillOpacity: 0.12, interactive: false }));
  }

  function drawLine(f, at) {
    const group = parts.groupOf(f);
    const line = at.map(toLatLng);
    const style = { lineCap: "butt", interactive: false };
    const weight = f.role === "building" ? 6 : 5;
    parts.put(f, L.polyline(line, { ...style, color: "#fff", weight: weight + 4 }));
    parts.put(f, L.polyline(line, { ...style, color: group.colour, weight, dashArray: group.dash }));
    touchable(f, L.polyline(line, { opacity: 0, weight: 32 })); // a thumb's width to tap on
  }

  function drawArea(f, at) {
    const group = parts.groupOf(f);
    const rings = at.map((ring) => ring.map(toLatLng));
    const solid = f.role === "building" || group.key === "reserve";
    const style = { color: group.colour, weight: 4, fillColor: group.fill, fillOpacity: solid ? 0.6 : 0.25 };
    touchable(f, L.polygon(rings, { ...style, dashArray: group.key === "sewer" ? "" : group.dash }));
  }

  function touchable(f, layer) {
    layer.on("click", () => choose(f, null));
    parts.put(f, layer);
  }

  function draw(f) {
    for (const part of f.parts) {
      if (part.type === "area") drawArea(f, part.at);
      else if (part.type === "line") drawLine(f, part.at);
      else if (f.role !== "component" || !parts.pointsOf(f).length) drawPoint(f, part.at);
    }
  }

  /** Draw everything; `chosen` is called with the feature that was tapped, and the element it was tapped on. */
  function drawAll(chosen) {
    choose = chosen;
    const size = (f) => (f.parts[0]?.type === "area" ? 0 : f.parts[0]?.type === "line" ? 1 : 2);
    [...parts.features].sort((a, b) => size(a) - size(b)).forEach(draw); // areas lie under lines, lines under points
  }

  return { drawAll };
})();
