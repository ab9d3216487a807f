/* The chosen part: its card beside the plan, its highlight and its tapes on it. */
"use strict";
asbuilt.card = (() => {
  const { data, map, el, svg, picture, button, text, list, toLatLng, still, lengths, symbols, parts, labels, tapes } = asbuilt;
  const card = document.getElementById("card");
  const popup = L.popup({ pane: card, autoPan: false, closeButton: false, maxWidth: 9999 });
  const chosen = L.featureGroup();
  const listeners = [];
  let openedFrom = null;

  /** Room for the buttons above and for scale and north below. */
  const room = (maxZoom, animate) => ({ paddingTopLeft: [45, 75], paddingBottomRight: [45, 85], maxZoom, animate });

  function open(f, from) {
    map.closePopup();
    const where = parts.cornersOf(f);
    map.addLayer(parts.groupOf(f).layer); // a part from the list may lie on a layer that is switched off
    parts.hide(f, false);
    document.body.classList.remove("map-only", "choosing");
    document.body.classList.add("card-open");
    map.invalidateSize({ animate: false });
    popup.setLatLng(where[0] || map.getCenter()).setContent(cardFor(f)).openOn(map);
    openedFrom = from;
    highlight(f, where);
    for (const tell of listeners) tell(f);
    card.scrollTop = 0;
    card.querySelector("h2").focus({ preventScroll: true });
  }

  map.on("popupclose", () => {
    document.body.classList.remove("card-open");
    chosen.clearLayers();
    tapes.clear();
    labels.rest();
    labels.place();
    openedFrom?.focus({ preventScroll: true });
    openedFrom = null;
  });
  card.addEventListener("keydown", (event) => event.key === "Escape" && map.closePopup());

  function highlight(f, where) {
    if (!where.length) return;
    const style = { interactive: false, fill: false, color: "#111", weight: 4 };
    if (parts.isPoint(f)) chosen.addLayer(L.circleMarker(where[0], { ...style, radius: 21 }));
    else for (const part of f.parts) chosen.addLayer(L.polyline(part.at.map((p) => (part.type === "area" ? p.map(toLatLng) : toLatLng(p))), { ...style, weight: 9, opacity: 0.55 }));
    const ends = parts.isPoint(f) ? tapes.draw(f, chosen) : [];
    chosen.addTo(map);
    const seen = L.latLngBounds([...where, ...ends]);
    const closer = ends.length || f.role === "proposed"; // what somebody would build is small among all the rest
    if (closer || !map.getBounds().contains(seen)) map.fitBounds(closer ? seen.pad(ends.length ? 0.15 : 1) : seen, room(23, !still.matches));
    labels.place();
  }

  // ------------------------------------------------------------ what the card says

  const fact = (term, value) => (text(value) === "" ? [] : [el("dt", {}, term), el("dd", {}, text(value))]);
  const facts = (f) => (ownFacts(f).length ? el("dl", {}, ...ownFacts(f)) : null);
  const block = (title, ...children) => (children.flat().length ? el("section", {}, el("h3", {}, title), ...children) : null);

  function cardFor(f) {
    const owner = parts.componentOf(f);
    const arrow = picture(24, 24, svg("path", { d: "M20 12H5M11 5L4 12L11 19", class: "stroke" }));
    return el("article", { "aria-labelledby": "card-title" },
      button({ class: "tool back" }, () => map.closePopup(), arrow, "Back to the list"),
      el("h2", { id: "card-title", tabindex: "-1" }, f.name),
      el("p", {}, kindOf(f)),
      checkedNote(f),
      f.parts.length ? null : el("p", { class: "tag bad" }, "Not located: its place cannot be drawn"),
      ...list(f.attributes.lines).map((line) => el("p", { class: "line" }, text(line))),
      block("Tapes to this point", tapes.words(f)),
      block("Every tape to it, as read", tieTable(list(f.attributes.ties))),
      facts(f),
      ...photos(f),
      owner ? block("Part of", openButton(owner)) : null,
      ...[owner || f].filter((c) => c.role === "component").flatMap((c) => [
        owner ? facts(c) : null,
        block("Due", list(c.attributes.due).map(dueLine)),
        block("Service history", list(c.attributes.service).map(serviceLine)),
        block(owner ? "Its other points" : "Its points", parts.pointsOf(c).filter((p) => p !== f).map(openButton)),
      ]));
  }

  function kindOf(f) {
    if (f.role === "reference") return `Mark to measure from: ${text(f.kind)}`;
    if (f.role === "proposed") return `Proposed, not built: ${text(f.kind)}`;
    return f.role === "component" && f.kind !== f.name ? text(f.kind) : "";
  }

  function checkedNote(f) {
    if (f.role !== "point") return null;
    if (f.attributes.checked === true) return el("p", { class: "tag good" }, "Checked: a misread tape would have shown");
    if (f.attributes.checked !== false) return null;
    const why = text(f.attributes.unchecked_because);
    return el("p", { class: "tag bad" }, `Not checked: ${why || "a misread tape would not have shown"}`);
  }

  function ownFacts(f) {
    const a = f.attributes;
    const at = parts.isPoint(f) && f.role !== "reference" && data.placed ? f.parts[0].at : null;
    const known = a.accuracy_text || (a.r95_m > 0 ? `within ${lengths.roughly(a.r95_m)}, 19 times in 20` : "");
    return [
      fact("Depth", a.depth_text),
      fact("Height", a.elevation_text),
      fact("How well known", known && f.role === "point" ? `${text(known)}, measured from the marks` : known),
      fact("On the earth", data.placed && a.r95_earth_m > 0 ? `within ${lengths.roughly(a.r95_earth_m)}, 19 times in 20` : ""),
      fact("Latitude, longitude", at ? `${at[1].toFixed(7)}, ${at[0].toFixed(7)}` : ""),
      fact("What it is", a.description), fact("Landmark", a.landmark), fact("Mark", a.mark), fact("Size", a.size),
      fact("Colour", a.color), fact("Volume", a.volume_gal > 0 ? `${a.volume_gal.toLocaleString("en-US")} gal` : ""),
      fact("Material", a.material), fact("Installed", a.installed_on), fact("Removed", a.removed_on),
      fact("Gone since", a.gone_on), fact("Status", a.status), fact("Note", a.note), fact("Photo file", a.photo),
    ].flat();
  }

  function tieTable(ties) {
    if (!ties.length) return [];
    const rows = ties.map((tie) => el("tr", {}, el("th", { scope: "row" }, text(tie.from)), el("td", {}, text(tie.as_read))));
    return [el("table", {}, el("tr", {}, el("th", { scope: "col" }, "From"), el("th", { scope: "col" }, "Reading")), ...rows)];
  }

  /** The pictures of a part; the page carries them inside itself, so no other address is ever taken. */
  function photos(f) {
    return data.photos.filter((photo) => photo.of === f.name && photo.src.startsWith("data:image/")).map((photo) => {
      const picture = el("img", { alt: text(photo.caption) || `Photo of ${f.name}` });
      picture.src = photo.src;
      return el("figure", {}, picture, photo.caption ? el("figcaption", {}, text(photo.caption)) : null);
    });
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

  // ------------------------------------------------------------ the way into it

  function openButton(f) {
    const a = f.attributes;
    const under = [["component", "proposed"].includes(f.role) ? f.kind : null, a.depth_text, f.role === "point" ? text(a.accuracy_text).replace(/, 19 times in 20$/, "") : null, a.removed_on ? `removed ${a.removed_on}` : null,
      f.role === "point" && !f.parts.length ? "not located" : null, parts.isUnsure(f) ? "not checked" : null];
    const point = f.role === "component" && parts.pointsOf(f).length === 1 ? parts.pointsOf(f)[0] : f;
    return button({ class: "open" }, (node) => asbuilt.choose(point, card.contains(node) ? openedFrom : node), sample(f),
      el("span", {}, el("strong", {}, f.name), el("small", {}, under.map(text).filter((words) => words && words !== f.name).join(", "))));
  }

  /** A piece of the line, the area or the symbol that stands for a feature. */
  function sample(f) {
    const group = parts.groupOf(f);
    if (f.role === "point" || parts.isPoint(f)) return symbols.symbol(f.symbol, group.colour, parts.isUnsure(f));
    return symbols.swatch(group, f.parts[0]?.type === "area");
  }

  return { open, openButton, dueLine, room, whenOpened: (tell) => listeners.push(tell) };
})();
