/* The list beside the plan: what it is, cautions, lids, what is due, findings, all parts, the key. */
"use strict";
asbuilt.panel = (() => {
  const { data, el, button, text, list, narrow, symbols, parts, card, search } = asbuilt;
  const panel = document.getElementById("panel");
  const WORDS = { note: "Note", attention: "Needs attention", refused: "Refused" };

  function section(title, isOpen, ...children) {
    if (!children.flat().length) return null;
    const node = el("details", {}, el("summary", {}, el("h2", {}, title)), ...children);
    node.open = isOpen;
    return node;
  }

  const opener = (f, ...children) => (f ? button({ class: "open" }, (node) => asbuilt.choose(f, node), ...children) : el("div", { class: "open" }, ...children));

  /** The first caution is always in sight; on a phone the others are one touch away. */
  function cautions(isOpen) {
    const [first, ...rest] = data.cautions.map((line) => el("span", {}, line));
    const head = [el("strong", {}, "Caution: "), first];
    if (!rest.length) return el("section", { class: "cautions", "aria-label": "Cautions" }, el("p", {}, ...head));
    const more = el("details", {}, el("summary", {}, ...head, el("span", { class: "more" }, ` (${rest.length} more)`)), ...rest.map((line) => el("p", {}, line)));
    more.open = isOpen;
    return el("section", { class: "cautions", "aria-label": "Cautions" }, more);
  }

  /** What stands for what; only what is on this plan. */
  function keyRows() {
    const used = new Set(parts.features.filter((f) => f.role !== "building" && parts.isPoint(f)).map((f) => f.symbol));
    const lines = data.groups.filter((g) => g.key !== "reference").map((g) => [symbols.swatch(g, ["building", "reserve"].includes(g.key)), g.title]);
    const points = Object.keys(symbols.SHAPES).filter((name) => used.has(name)).map((name) => [symbols.symbol(name, "#1c1c1c", false), symbols.TITLES[name]]);
    const doubt = [symbols.symbol("lid", "#1c1c1c", true), "Broken outline and ?: not checked, measure again before you rely on it"];
    const ring = [symbols.ring(), "Thin ring: it lies inside, 19 times in 20 (zoom in to see it)"];
    return [...lines, ...points, ...(parts.points.some(parts.isUnsure) ? [doubt] : []), ring];
  }

  function findings() {
    return data.findings.map((f) => opener(parts.named(f.subject), el("span", {}, el("strong", {}, text(f.subject)),
      el("span", { class: f.severity === "note" ? "tag" : "tag bad" }, WORDS[f.severity] || text(f.severity)), el("span", { class: "line" }, text(f.message)))));
  }

  function entries() {
    const words = (f) => [f.kind, f.attributes.description, f.attributes.mark, f.attributes.landmark, f.attributes.note].map(text).join(" ");
    return parts.features.filter((f) => f.role !== "building").map((f) => [f, f.name, words(f)]);
  }

  function fill() {
    const wide = !narrow.matches;
    const due = data.due.map((d) => opener(parts.named(d.component), el("span", {}, el("strong", {}, text(d.component)), card.dueLine(d))));
    const late = data.due.filter((d) => d.overdue).length;
    const bad = data.findings.filter((f) => f.severity !== "note").length;
    const proposed = parts.features.filter((f) => f.role === "proposed");
    panel.append(...[
      el("header", {}, el("h1", {}, data.title), ...data.subtitle.map((line) => el("p", {}, line)), el("p", {}, `As of ${data.as_of}`),
        data.placed ? null : el("p", { class: "tag" }, "Not placed on the earth: measure from the house")),
      data.cautions.length ? cautions(wide) : null,
      search.field("Find by name", entries(), card.openButton),
      section("Proposed, not built", true, ...proposed.map(card.openButton)),
      section(`Lids and cleanouts (${parts.lids.length})`, true, ...parts.lids.map(card.openButton)),
      section(`Due (${due.length}${late ? `, ${late} overdue` : ""})`, wide || late > 0, ...due),
      section(`Findings (${data.findings.length}${bad ? `, ${bad} need attention` : ""})`, wide && bad > 0, ...findings()),
      section(`All parts (${parts.components.length})`, wide, ...parts.components.map(card.openButton)),
      section("Key to the plan", false, el("ul", { class: "legend" }, ...keyRows().map(([mark, words]) => el("li", {}, mark, words)))),
      ...list(data.notes).map((note) => el("p", { class: "note" }, text(note))),
      el("p", { class: "note" }, button({ class: "tool" }, () => window.print(), "Print on one page")),
    ].filter(Boolean));
  }

  return { fill, keyRows };
})();
