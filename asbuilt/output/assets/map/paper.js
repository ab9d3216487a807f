/* The plan on one sheet of paper: letter or A4, upright. The plan itself is not to scale beyond its scale bar. */
"use strict";
asbuilt.paper = (() => {
  const { data, map, el, text, list, parts, labels, panel } = asbuilt;
  const head = document.getElementById("paper-head");
  const paper = document.getElementById("paper");
  let before = [];
  const SIZES = [10, 9, 8]; // points; smaller nobody reads

  function fill() {
    head.append(
      el("p", { class: "title" }, data.title),
      el("p", {}, [...data.subtitle, `As of ${data.as_of}`].map(text).join(". ")),
      data.cautions.length ? el("p", {}, el("strong", {}, `Caution: ${data.cautions[0]}`)) : null);
  }

  /** What is opened again first, pipe ends and bends last: where the sheet is full, the rest is counted. */
  function rows() {
    const rank = (f) => (parts.isLid(f) ? 0 : f.symbol === "spot" ? 2 : 1);
    const points = [...parts.points].sort((a, b) => rank(a) - rank(b));
    return points.map((f) => el("p", { class: "row" }, el("strong", {}, f.name), `: ${wordsOf(f).join("; ")}`));
  }

  function wordsOf(f) {
    const ties = list(f.attributes.ties).map((tie) => `${text(tie.as_read)} from ${text(tie.from)}`);
    const ways = list(data.found[f.name]?.ways).map(text);
    const doubt = parts.isUnsure(f) ? "not checked" : "";
    return [...(ways.length ? ways : ties), text(f.attributes.depth_text), text(f.attributes.accuracy_text).replace(/, 19 times in 20$/, ""), doubt].filter(Boolean);
  }

  const key = () => el("p", { class: "key" }, ...panel.keyRows().map(([mark, words]) => el("span", {}, mark, words)));

  /** The largest type that holds all rows, the plan smaller if need be; then what has no room is left out and counted. */
  function set() {
    const body = el("div", { class: "rows" });
    paper.replaceChildren(key(), body);
    const all = rows();
    const isFull = () => body.scrollHeight > body.clientHeight + 1 || body.scrollWidth > body.clientWidth + 1;
    body.append(...all);
    for (const dense of [false, true]) {
      document.body.classList.toggle("dense", dense);
      for (const points of SIZES) {
        body.className = `rows pt${points}`;
        if (!isFull()) return;
      }
    }
    const left = el("p", { class: "row left" });
    body.append(left);
    for (let shown = all.length - 1; shown > 0 && isFull(); shown -= 1) {
      all[shown].remove();
      left.textContent = `${all.length - shown} more points have no room here: the map has them.`;
    }
  }

  /** The size of the paper must hold before the browser lays it out, or the plan is cut off: hence a class. */
  function fit(printing, show) {
    if (document.body.classList.contains("printing") === printing) return;
    if (printing) before = [map.getCenter(), map.getZoom()];
    document.body.classList.toggle("printing", printing);
    if (printing) set(); // first: it says how large the plan may be
    map.invalidateSize({ animate: false });
    if (printing) show();
    else map.setView(...before, { animate: false });
    labels.place();
  }

  /** Some browsers tell of printing by an event, some by the medium alone. */
  function watch(show) {
    const medium = window.matchMedia("print");
    window.addEventListener("beforeprint", () => fit(true, show));
    window.addEventListener("afterprint", () => fit(false, show));
    medium.addEventListener("change", () => fit(medium.matches, show));
  }

  return { fill, watch };
})();
