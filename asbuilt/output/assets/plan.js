/* Draws the plan from the data block of the page.
 *
 * Everything that a person typed becomes a text node or an SVG text node, never markup: there is no innerHTML in
 * this file, and attributes take only constants, numbers and our own keys. folium made the map and its layers.
 * Places are longitude, latitude everywhere; `toLatLng` is the one place that turns them round for Leaflet.
 */
"use strict";
(() => {
  const data = JSON.parse(document.getElementById("plan-data").textContent);
  const map = window[data.frame.map];
  const panel = document.getElementById("panel");
  const card = document.getElementById("card");
  const groups = new Map(data.groups.map((g) => [g.key, { ...g, layer: window[data.frame.layers[g.key]] }]));
  const [metresPerLon, metresPerLat] = data.metres_per_degree;
  const features = data.features;
  const components = features.filter((f) => f.role === "component");
  const narrow = window.matchMedia("(max-width: 820px)");
  const still = window.matchMedia("(prefers-reduced-motion: reduce)");

  // ------------------------------------------------------------ small helpers

  const toLatLng = ([longitude, latitude]) => L.latLng(latitude, longitude);
  const text = (value) => (value === null || value === undefined ? "" : String(value));
  const list = (value) => (Array.isArray(value) ? value : []);

  function build(node, attributes, children) {
    for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
    node.append(...children.flat().filter((child) => child !== null && child !== ""));
    return node;
  }
  const el = (tag, attributes = {}, ...children) => build(document.createElement(tag), attributes, children);
  const svg = (tag, attributes = {}, ...children) =>
    build(document.createElementNS("http://www.w3.org/2000/svg", tag), attributes, children);

  function button(attributes, act, ...children) {
    const node = el("button", { type: "button", ...attributes }, ...children);
    node.addEventListener("click", () => act(node));
    return node;
  }

  /** A length for reading: 5 in, 13 ft, 0.12 m. */
  function lengthText(metres) {
    if (data.units === "m") return `${metres.toFixed(metres < 1 ? 2 : 1)} m`;
    const feet = metres / 0.3048;
    if (data.units === "ft") return `${feet.toFixed(1)} ft`;
    return feet < 3 ? `${Math.max(1, Math.ceil(feet * 12))} in` : `${Math.ceil(feet)} ft`;
  }

  // A part may have been replaced by another of the same name: the points are those of the one that still stands.
  const standing = (f) => !f.attributes.removed_on;
  const byName = new Map([...components].sort((a, b) => standing(a) - standing(b)).map((c) => [c.name, c]));
  const componentOf = (f) => (f.role === "point" && byName.get(f.attributes.component)) || null;
  const pointsOf = (component) => features.filter((f) => f.role === "point" && componentOf(f) === component);
  const named = (name) => ["point", "component", "reference", "building"]
    .map((role) => features.find((f) => f.role === role && f.name === name)).find(Boolean) || null;
  const isLid = (f) => f.role === "point" && (f.symbol === "lid" || f.symbol === "cleanout");
  const isUnsure = (f) => f.role === "point" && f.attributes.checked === false;
  const isShown = (f) => map.hasLayer(groups.get(f.group).layer);

  /** All corners of a feature, as Leaflet wants them. */
  const cornersOf = (f) => f.parts.flatMap((part) =>
    part.type === "point" ? [toLatLng(part.at)] : part.at.flat(part.type === "area" ? 1 : 0).map(toLatLng));

  // ------------------------------------------------------------ symbols and shapes

  const SHAPES = {
    lid: [["circle", { cx: 22, cy: 22, r: 10 }], ["circle", { cx: 22, cy: 22, r: 3.5, class: "inner" }]],
    cleanout: [["rect", { x: 13, y: 13, width: 18, height: 18 }], ["path", { d: "M17 22H27", class: "inner" }]],
    flush: [["path", { d: "M22 11L33 31H11Z" }]],
    valve: [["path", { d: "M11 13L33 31V13L11 31Z" }]],
    port: [["path", { d: "M22 10L34 22L22 34L10 22Z" }]],
    box: [["rect", { x: 9, y: 14, width: 26, height: 16 }], ["path", { d: "M9 14L35 30M9 30L35 14", class: "inner" }]],
    well: [["circle", { cx: 22, cy: 22, r: 11 }], ["path", { d: "M22 12V32M12 22H32", class: "inner" }]],
    spot: [["circle", { cx: 22, cy: 22, r: 5 }]],
    mark: [["path", { d: "M22 11V33M11 22H33", class: "cross" }]],
  };
  const SYMBOL_TITLES = {
    lid: "Lid, riser or cover", cleanout: "Cleanout", flush: "Flushing end, turn-up", valve: "Valve",
    port: "Inspection port", box: "Panel or box", well: "Well", spot: "Bend, pipe end, other point", mark: "Mark to measure from",
  };

  function symbol(name, colour, unsure) {
    const shape = SHAPES[name].map(([tag, attributes]) => svg(tag, attributes));
    const doubt = unsure && name !== "mark" && name !== "spot" ? [svg("text", { x: 22, y: 22, class: "doubt" }, "?")] : [];
    const attributes = { viewBox: "0 0 44 44", width: 44, height: 44, "aria-hidden": "true" };
    return svg("svg", { ...attributes, class: unsure ? "symbol unsure" : "symbol", color: colour }, ...shape, ...doubt);
  }

  function drawPoint(f, at, group) {
    const size = f.symbol === "spot" ? 28 : 44; // a lid is never hidden under the bend beside it
    const icon = L.divIcon({ className: "point", iconSize: [size, size], html: symbol(f.symbol, group.colour, isUnsure(f)) });
    const marker = L.marker(toLatLng(at), { icon, zIndexOffset: isLid(f) ? 1000 : f.symbol === "spot" ? -500 : 0 });
    marker.on("add", () => marker.getElement().setAttribute("aria-label", f.name));
    marker.on("click", ({ originalEvent }) => open(nearestTo(originalEvent) || f, marker.getElement()));
    marker.on("keypress", ({ originalEvent }) => "Enter ".includes(originalEvent.key) && open(f, marker.getElement()));
    marker.addTo(group.layer);
    if (f.attributes.r95_m > 0) drawRing(at, f.attributes.r95_m, group);
  }

  /** Two lids may be a few pixels apart: a thumb means the nearer one, not the one that lies on top. */
  function nearestTo(touch) {
    const at = map.mouseEventToContainerPoint(touch);
    const far = (f) => map.latLngToContainerPoint(toLatLng(f.parts[0].at)).distanceTo(at);
    const near = features.filter((f) => f.parts[0]?.type === "point" && isShown(f) && far(f) < 22);
    return near.sort((a, b) => far(a) - far(b))[0];
  }

  /** The radius that holds the point 95 times in 100, at true scale on the ellipsoid. */
  function drawRing([longitude, latitude], radius, group) {
    const at = Array.from({ length: 48 }, (_, i) => (i * Math.PI) / 24).map((turn) =>
      toLatLng([longitude + (radius * Math.cos(turn)) / metresPerLon, latitude + (radius * Math.sin(turn)) / metresPerLat]));
    L.polygon(at, { className: "ring", color: group.colour, weight: 2, fillOpacity: 0.12, interactive: false }).addTo(group.layer);
  }

  function drawLine(f, at, group) {
    const line = at.map(toLatLng);
    const style = { lineCap: "butt", interactive: false };
    const weight = f.role === "building" ? 6 : 5;
    L.polyline(line, { ...style, color: "#fff", weight: weight + 4 }).addTo(group.layer);
    L.polyline(line, { ...style, color: group.colour, weight, dashArray: group.dash }).addTo(group.layer);
    touchable(L.polyline(line, { opacity: 0, weight: 32 }), f, group); // a thumb's width to tap on
  }

  function drawArea(f, at, group) {
    const rings = at.map((ring) => ring.map(toLatLng));
    const solid = f.role === "building" || group.key === "reserve";
    const style = { color: group.colour, weight: 4, fillColor: group.fill, fillOpacity: solid ? 0.6 : 0.25 };
    touchable(L.polygon(rings, { ...style, dashArray: group.key === "sewer" ? "" : group.dash }), f, group);
  }

  function touchable(layer, f, group) {
    layer.on("click", () => open(f, null));
    layer.addTo(group.layer);
  }

  function draw(f) {
    const group = groups.get(f.group);
    for (const part of f.parts) {
      if (part.type === "area") drawArea(f, part.at, group);
      else if (part.type === "line") drawLine(f, part.at, group);
      else if (f.role !== "component" || !pointsOf(f).length) drawPoint(f, part.at, group);
    }
  }

  // ------------------------------------------------------------ labels that keep out of each other's way

  const labels = [];
  map.createPane("labels").classList.add("leaflet-zoom-hide");

  const pixelsPerMetre = () => (256 * 2 ** map.getZoom()) / 360 / metresPerLon;

  /** rank: 0 always; 1 lids; 2 names; 3 small points, only when near. places: [where, shift x, shift y] by preference. */
  function addLabel(words, className, rank, places, shown) {
    const node = el("div", { class: `label ${className}` }, words);
    map.getPane("labels").append(node);
    labels.push({ node, rank, places, shown });
    return labels.at(-1);
  }

  const around = (where, gap) => [[where, gap, 0], [where, -gap, 0], [where, 0, -gap], [where, 0, gap]];
  const askew = (where, gap) => [[where, gap, gap], [where, -gap, gap], [where, gap, -gap], [where, -gap, -gap]];
  const between = (a, b, share) => L.latLng(a.lat + (b.lat - a.lat) * share, a.lng + (b.lng - a.lng) * share);

  function labelFor(f) {
    const where = cornersOf(f);
    if (!where.length) return;
    const owner = componentOf(f); // drawn as a line or an area it carries its own label, so the point's short name will do
    const drawn = owner && owner.parts.length && owner.parts[0].type !== "point";
    const own = drawn ? f.attributes.point : owner && pointsOf(owner).length === 1 ? owner.name : null;
    const isPoint = f.parts[0].type === "point";
    if (f.role === "component" && isPoint && pointsOf(f).length) return;
    const rank = isLid(f) ? 1 : f.role === "point" && f.symbol === "spot" ? 3 : 2;
    let places = around(where[0], 17);
    if (f.parts[0].type === "line") {
      const longest = where.slice(1).map((b, i) => [where[i], b]).sort((p, q) => map.distance(...q) - map.distance(...p));
      places = longest.slice(0, 3).flatMap(([a, b]) => [0.5, 0.3, 0.7].flatMap((share) => around(between(a, b, share), 9)));
    } else if (!isPoint) {
      const box = L.latLngBounds(where);
      places = [[box.getCenter(), 0, 0], ...around(box.getCenter(), 26), ...askew(box.getCenter(), 22), [box.getSouthWest(), 0, 6], [box.getNorthEast(), 0, -6]];
    }
    const near = { 1: 2.5, 2: 1.5, 3: 18 }[rank];
    const label = addLabel(text(own || f.name), f.role, rank, places, () => isShown(f) && pixelsPerMetre() > near);
    label.feature = f;
    label.node.style.borderColor = groups.get(f.group).colour;
  }

  const within = (a, b) => a[0] >= b[0] && a[1] >= b[1] && a[2] <= b[2] && a[3] <= b[3];
  const overlap = (a, b) => a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3];

  function placeLabels() {
    document.body.classList.toggle("near", pixelsPerMetre() > 50); // small symbols, so that the thin circles show
    const symbols = features.filter((f) => f.parts[0]?.type === "point" && f.symbol !== "spot" && isShown(f))
      .map((f) => map.latLngToLayerPoint(toLatLng(f.parts[0].at))).map(({ x, y }) => [x - 10, y - 10, x + 10, y + 10]);
    const taken = [];
    const corner = map.containerPointToLayerPoint([0, 0]);
    const view = [corner.x, corner.y, corner.x + map.getSize().x, corner.y + map.getSize().y];
    const rankOf = (label) => (label.needed ? 0 : label.rank);
    for (const label of [...labels].sort((a, b) => rankOf(a) - rankOf(b))) {
      label.node.hidden = !label.shown();
      if (label.node.hidden) continue;
      const [w, h] = [label.node.offsetWidth, label.node.offsetHeight];
      const boxes = label.places.map(([where, dx, dy]) => {
        const { x, y } = map.latLngToLayerPoint(where);
        const left = x + dx - (dx > 0 ? 0 : dx < 0 ? w : w / 2);
        const top = y + dy - (dy > 0 ? 0 : dy < 0 ? h : h / 2);
        return [left, top, left + w, top + h];
      });
      boxes.sort((a, b) => within(b, view) - within(a, view)); // stable: the preferred side stays first
      const free = boxes.find((box) => ![...symbols, ...taken].some((other) => overlap(box, other)))
        || (rankOf(label) < 2 && boxes.find((box) => !taken.some((other) => overlap(box, other))))
        || (rankOf(label) === 0 && boxes[0]);
      label.node.hidden = !free;
      if (!free) continue;
      taken.push(free);
      L.DomUtil.setPosition(label.node, L.point(Math.round(free[0]), Math.round(free[1])));
    }
  }

  // ------------------------------------------------------------ the chosen part: card, highlight, tapes

  const popup = L.popup({ pane: card, autoPan: false, closeButton: false, maxWidth: 9999 });
  const chosen = L.featureGroup();
  let openedFrom = null;

  function open(f, from) {
    map.closePopup();
    const where = cornersOf(f);
    map.addLayer(groups.get(f.group).layer); // a part from the list may lie on a layer that is switched off
    document.body.classList.add("card-open");
    document.body.classList.remove("map-only");
    map.invalidateSize({ animate: false });
    popup.setLatLng(where[0] || map.getCenter()).setContent(cardFor(f)).openOn(map);
    openedFrom = from;
    highlight(f, where);
    card.scrollTop = 0;
    card.querySelector("h2").focus({ preventScroll: true });
  }

  map.on("popupclose", () => {
    document.body.classList.remove("card-open");
    chosen.clearLayers();
    for (const label of labels.filter((each) => each.rank === 0)) label.node.remove();
    labels.splice(0, labels.length, ...labels.filter((each) => each.rank > 0));
    for (const label of labels) label.needed = false; // the names of the marks of the tapes
    placeLabels();
    openedFrom?.focus({ preventScroll: true });
    openedFrom = null;
  });
  card.addEventListener("keydown", (event) => event.key === "Escape" && map.closePopup());

  function highlight(f, where) {
    if (!where.length) return;
    const style = { interactive: false, fill: false, color: "#111", weight: 4 };
    if (f.parts[0].type === "point") chosen.addLayer(L.circleMarker(where[0], { ...style, radius: 21 }));
    else for (const part of f.parts) chosen.addLayer(L.polyline(part.at.map((p) => (part.type === "area" ? p.map(toLatLng) : toLatLng(p))), { ...style, weight: 9, opacity: 0.55 }));
    const marks = f.parts[0].type === "point" ? drawTapes(f, where[0]) : [];
    chosen.addTo(map);
    const seen = L.latLngBounds([...where, ...marks]);
    if (marks.length || !map.getBounds().contains(seen)) map.fitBounds(seen, room(23, !still.matches));
    placeLabels();
  }

  /** Thin lines from the marks to the point, each with its reading: how to find it again. */
  function drawTapes(f, point) {
    const known = list(f.attributes.ties).filter((tie) => tie.from_lonlat);
    const fromMarks = known.filter((tie) => markLabel(tie.from)); // other buried points help nobody with a tape in hand
    const tapes = new Map();
    for (const tie of fromMarks.length > 1 ? fromMarks : known) {
      const tape = tapes.get(tie.from) || { mark: toLatLng(tie.from_lonlat), readings: [] };
      tape.readings.push(text(tie.as_read));
      tapes.set(tie.from, tape);
    }
    for (const [from, { mark, readings }] of tapes) {
      for (const [color, weight] of [["#fff", 6], ["#111", 2]]) chosen.addLayer(L.polyline([mark, point], { color, weight, interactive: false }));
      const places = [0.5, 0.4, 0.6, 0.3, 0.7, 0.2].map((share) => [between(mark, point, share), 0, 0]);
      const name = markLabel(from);
      const [towards, away, above, below] = around(mark, point.lng > mark.lng ? 17 : -17);
      if (name) Object.assign(name, { needed: true, places: [away, below, above, towards] }); // out of the tape's way
      addLabel(name ? readings.join(", ") : `${text(from)}: ${readings.join(", ")}`, "tape", 0, places, () => true);
    }
    return [...tapes.values()].map((tape) => tape.mark);
  }

  const markLabel = (name) => labels.find((label) => label.feature?.role === "reference" && label.feature.name === name);

  const fact = (term, value) => (text(value) === "" ? [] : [el("dt", {}, term), el("dd", {}, text(value))]);
  const block = (title, ...children) => (children.flat().length ? el("section", {}, el("h3", {}, title), ...children) : null);

  function cardFor(f) {
    const a = f.attributes;
    const owner = componentOf(f);
    const arrow = svg("svg", { viewBox: "0 0 24 24", width: 24, height: 24, "aria-hidden": "true" }, svg("path", { d: "M20 12H5M11 5L4 12L11 19", class: "stroke" }));
    return el("article", { "aria-labelledby": "card-title" },
      button({ class: "tool back" }, () => map.closePopup(), arrow, "Back to the list"),
      el("h2", { id: "card-title", tabindex: "-1" }, f.name),
      f.role === "reference" ? el("p", {}, `Mark to measure from: ${text(f.kind)}`) : f.role === "component" && f.kind !== f.name ? el("p", {}, text(f.kind)) : null,
      f.role === "point" ? checkedNote(f) : null,
      f.parts.length ? null : el("p", { class: "tag bad" }, "Not located: its place cannot be drawn"),
      block("Tapes to it, as read", tieTable(list(a.ties))),
      el("dl", {}, ...ownFacts(f)),
      owner ? block("Part of", openButton(owner)) : null,
      ...[owner || f].filter((c) => c.role === "component").flatMap((c) => [
        owner ? el("dl", {}, ...ownFacts(c)) : null,
        block("Due", list(c.attributes.due).map(dueLine)),
        block("Service history", list(c.attributes.service).map(serviceLine)),
        block(owner ? "Its other points" : "Its points", pointsOf(c).filter((p) => p !== f).map(openButton)),
      ]));
  }

  function checkedNote(f) {
    if (f.attributes.checked === true) return el("p", { class: "tag good" }, "Checked: a misread tape would have shown");
    if (f.attributes.checked !== false) return null;
    const why = text(f.attributes.unchecked_because);
    return el("p", { class: "tag bad" }, `Not checked: ${why || "a misread tape would not have shown"}`);
  }

  function ownFacts(f) {
    const a = f.attributes;
    const at = f.parts[0]?.type === "point" && f.role !== "reference" && data.placed ? f.parts[0].at : null;
    const known = a.accuracy_text || (a.r95_m > 0 ? `within ${lengthText(a.r95_m)}, 19 times in 20` : "");
    return [
      fact("Depth", a.depth_text),
      fact("Height", a.elevation_text),
      fact("How well known", known && f.role === "point" ? `${text(known)}, measured from the marks` : known),
      fact("On the earth", data.placed && a.r95_earth_m > 0 ? `within ${lengthText(a.r95_earth_m)}, 19 times in 20` : ""),
      fact("Latitude, longitude", at ? `${at[1].toFixed(7)}, ${at[0].toFixed(7)}` : ""),
      fact("What it is", a.description), fact("Mark", a.mark), fact("Size", a.size), fact("Photo", a.photo),
      fact("Volume", a.volume_gal > 0 ? `${a.volume_gal.toLocaleString("en-US")} gal` : ""),
      fact("Material", a.material), fact("Installed", a.installed_on), fact("Removed", a.removed_on),
      fact("Gone since", a.gone_on), fact("Status", a.status), fact("Note", a.note),
    ].flat();
  }

  function tieTable(ties) {
    if (!ties.length) return [];
    const rows = ties.map((tie) => el("tr", {}, el("th", { scope: "row" }, text(tie.from)), el("td", {}, text(tie.as_read))));
    return [el("table", {}, el("tr", {}, el("th", { scope: "col" }, "From"), el("th", { scope: "col" }, "Reading")), ...rows)];
  }

  function dueLine(due) {
    const range = due.earliest_on && due.latest_on && due.earliest_on !== due.latest_on ? ` (between ${due.earliest_on} and ${due.latest_on})` : "";
    return el("p", { class: "line" }, el("strong", {}, text(due.task)), `: due ${text(due.due_on) || "not known"}${range} `,
      due.overdue ? el("span", { class: "tag bad" }, "Overdue") : null,
      [due.reason, due.method, due.reference].map(text).filter(Boolean).map((words) => el("small", {}, words)));
  }

  const serviceLine = (s) => el("p", { class: "line" }, el("strong", {}, text(s.on)), ` ${text(s.task)}`,
    text(s.gallons) === "" ? "" : `, ${text(s.gallons)} gal`, text(s.by) === "" ? "" : `, by ${text(s.by)}`,
    text(s.note) === "" ? null : el("small", {}, text(s.note)));

  // ------------------------------------------------------------ the panel

  function openButton(f) {
    const a = f.attributes;
    const under = [f.role === "component" ? f.kind : null, a.depth_text, f.role === "point" ? text(a.accuracy_text).replace(/, 19 times in 20$/, "") : null, a.removed_on ? `removed ${a.removed_on}` : null,
      f.role === "point" && !f.parts.length ? "not located" : null, isUnsure(f) ? "not checked" : null];
    const point = f.role === "component" && pointsOf(f).length === 1 ? pointsOf(f)[0] : f;
    return button({ class: "open" }, (node) => open(point, card.contains(node) ? openedFrom : node), sample(f),
      el("span", {}, el("strong", {}, f.name), el("small", {}, under.map(text).filter((words) => words && words !== f.name).join(", "))));
  }

  /** A piece of the line, the area or the symbol that stands for a feature. */
  function sample(f) {
    const group = groups.get(f.group);
    if (f.role === "point" || f.parts[0]?.type === "point") return symbol(f.symbol, group.colour, isUnsure(f));
    return swatch(group, f.parts[0]?.type === "area");
  }

  function swatch(group, area) {
    const d = area ? "M6 12H38V32H6Z" : "M2 22H42";
    const style = { d, fill: area ? group.fill : "none", "fill-opacity": 0.35, stroke: group.colour, "stroke-width": area ? 4 : 6, "stroke-dasharray": group.dash };
    return svg("svg", { viewBox: "0 0 44 44", width: 44, height: 44, "aria-hidden": "true" }, svg("path", style));
  }

  function section(title, isOpen, ...children) {
    if (!children.flat().length) return null;
    const node = el("details", {}, el("summary", {}, el("h2", {}, title)), ...children);
    node.open = isOpen;
    return node;
  }

  const opener = (f, ...children) => (f ? button({ class: "open" }, (node) => open(f, node), ...children) : el("div", { class: "open" }, ...children));
  const WORDS = { note: "Note", attention: "Needs attention", refused: "Refused" };

  function legend() {
    const used = new Set(features.filter((f) => f.role !== "building" && f.parts[0]?.type === "point").map((f) => f.symbol));
    const row = (picture, words) => el("li", {}, picture, words);
    const colour = "#1c1c1c";
    const lines = data.groups.filter((g) => g.key !== "reference").map((g) => row(swatch(g, ["building", "reserve"].includes(g.key)), g.title));
    const points = Object.keys(SHAPES).filter((name) => used.has(name)).map((name) => row(symbol(name, colour, false), SYMBOL_TITLES[name]));
    const doubt = row(symbol("lid", colour, true), "Broken outline and ?: not checked, measure again before you rely on it");
    const ring = row(svg("svg", { viewBox: "0 0 44 44", width: 44, height: 44, "aria-hidden": "true" }, svg("circle", { cx: 22, cy: 22, r: 16, fill: colour, "fill-opacity": 0.12, stroke: colour, "stroke-width": 2 })),
      "Thin circle: it lies inside, 19 times in 20 (zoom in to see it)");
    return el("ul", { class: "legend" }, ...lines, ...points, doubt, ring);
  }

  /** The first caution is always in sight; on a phone the others are one touch away. */
  function cautions(isOpen) {
    const [first, ...rest] = data.cautions.map((line) => el("span", {}, line));
    const head = [el("strong", {}, "Caution: "), first];
    if (!rest.length) return el("section", { class: "cautions", "aria-label": "Cautions" }, el("p", {}, ...head));
    const more = el("details", {}, el("summary", {}, ...head, el("span", { class: "more" }, ` (${rest.length} more)`)), ...rest.map((line) => el("p", {}, line)));
    more.open = isOpen;
    return el("section", { class: "cautions", "aria-label": "Cautions" }, more);
  }

  function fillPanel() {
    const wide = !narrow.matches;
    const due = data.due.map((d) => opener(named(d.component), el("span", {}, el("strong", {}, text(d.component)), dueLine(d))));
    const late = data.due.filter((d) => d.overdue).length;
    const bad = data.findings.filter((f) => f.severity !== "note").length;
    const findings = data.findings.map((f) => opener(named(f.subject), el("span", {},
      el("strong", {}, text(f.subject)), el("span", { class: f.severity === "note" ? "tag" : "tag bad" }, WORDS[f.severity] || text(f.severity)), el("span", { class: "line" }, text(f.message)))));
    const lids = features.filter(isLid);
    panel.append(...[
      el("header", {}, el("h1", {}, data.title), ...data.subtitle.map((line) => el("p", {}, line)), el("p", {}, `As of ${data.as_of}`),
        data.placed ? null : el("p", { class: "tag" }, "Not placed on the earth: measure from the house")),
      data.cautions.length ? cautions(wide) : null,
      section(`Lids and cleanouts (${lids.length})`, true, ...lids.map(openButton)),
      section(`Due (${due.length}${late ? `, ${late} overdue` : ""})`, wide || late > 0, ...due),
      section(`Findings (${findings.length}${bad ? `, ${bad} need attention` : ""})`, wide && bad > 0, ...findings),
      section(`All parts (${components.length})`, wide, ...components.map(openButton)),
      section("Key to the plan", false, legend()),
    ].filter(Boolean));
  }

  // ------------------------------------------------------------ controls on the map

  function control(position, node) {
    const made = new (L.Control.extend({ options: { position }, onAdd: () => node }))();
    L.DomEvent.disableClickPropagation(node);
    made.addTo(map);
  }

  function scaleBar() {
    const bar = el("div", { class: "bar" });
    const words = el("span");
    control("bottomleft", el("div", { class: "scale", role: "img", "aria-label": "Scale bar" }, words, bar));
    const [unit, name] = data.units === "m" ? [1, "m"] : [0.3048, "ft"];
    const update = () => {
      const most = 150 / (pixelsPerMetre() * unit); // the longest round length within 150 px
      const ten = 10 ** Math.floor(Math.log10(most));
      const long = [5, 2, 1].find((digit) => digit * ten <= most) * ten;
      bar.style.width = `${long * unit * pixelsPerMetre()}px`;
      words.textContent = `${Number(long.toPrecision(1))} ${name}`;
    };
    map.on("zoom zoomend", update);
    update();
  }

  function north() {
    const words = data.north_up ? "N" : "first wall";
    const arrow = data.north_up ? "M30 4L42 40L30 32L18 40Z" : "M56 20L30 8V16H4V24H30V32Z";
    const picture = svg("svg", { viewBox: data.north_up ? "0 0 60 64" : "-18 0 96 64", width: data.north_up ? 54 : 86, height: 58, role: "img", "aria-label": data.north_up ? "North is up" : "Direction of the first wall" },
      svg("path", { d: arrow }), svg("text", { x: 30, y: data.north_up ? 60 : 54, class: data.north_up ? "" : "long" }, words));
    control("bottomleft", el("div", { class: "north" }, picture));
  }

  /** Room for the buttons above and for scale and north below. */
  const room = (maxZoom, animate) => ({ paddingTopLeft: [45, 85], paddingBottomRight: [45, 85], maxZoom, animate });
  const everything = () => L.latLngBounds(features.filter((f) => f.group !== "gone").flatMap(cornersOf));

  function showAll(animate) {
    const bounds = everything();
    if (bounds.isValid()) map.fitBounds(bounds, room(22, animate));
    else map.setView([0, 0], 18, { animate: false });
  }

  function buttons() {
    const house = svg("svg", { viewBox: "0 0 24 24", width: 28, height: 28, "aria-hidden": "true" }, svg("path", { d: "M3 12L12 4L21 12M6 10V20H18V10", class: "stroke" }));
    control("topleft", button({ class: "tool", "aria-label": "Show the whole property", title: "Show the whole property" }, () => showAll(!still.matches), house));
    const bigger = button({ class: "tool words" }, () => {
      const only = document.body.classList.toggle("map-only");
      bigger.textContent = only ? "Show list" : "Bigger map";
      map.invalidateSize();
    }, "Bigger map");
    control("topright", bigger);
  }

  // ------------------------------------------------------------ paper

  function printTable() {
    const rows = features.filter((f) => f.role === "point").map((f) => el("tr", {}, el("th", { scope: "row" }, f.name),
      el("td", {}, ...list(f.attributes.ties).map((tie) => el("div", {}, `${text(tie.from)}: ${text(tie.as_read)}`))), el("td", {}, text(f.attributes.depth_text))));
    return el("section", { id: "paper" }, el("h2", {}, "Ties, as read"), el("table", {}, ...rows));
  }
  /** The size of the paper must hold before the browser lays it out, or the plan is cut off: hence a class. */
  function fitPaper(printing) {
    document.body.classList.toggle("printing", printing);
    map.invalidateSize({ animate: false });
    if (printing) showAll(false);
  }
  window.addEventListener("beforeprint", () => fitPaper(true));
  window.addEventListener("afterprint", () => fitPaper(false));

  // ------------------------------------------------------------ all of it

  const size = (f) => (f.parts[0]?.type === "area" ? 0 : f.parts[0]?.type === "line" ? 1 : 2);
  fillPanel();
  document.body.append(printTable());
  map.attributionControl.setPrefix("Leaflet");
  map.invalidateSize({ animate: false });
  showAll(false);
  [...features].sort((a, b) => size(a) - size(b)).forEach(draw); // areas lie under lines, lines under points
  features.forEach(labelFor);
  buttons();
  scaleBar();
  north();
  map.on("moveend viewreset overlayadd overlayremove resize", placeLabels);
  placeLabels();
})();
