/* A field that finds entries by their words: every word must occur, capitals and accents do not count. */
"use strict";
asbuilt.search = (() => {
  const { el, button } = asbuilt;
  const MOST = 50; // a phone scrolls no more
  const plain = (words) => words.normalize("NFD").replace(/\p{M}/gu, "").toLowerCase();

  /**
   * Make the field with the list of what it found.
   * title: what the field says; entries: [what, its name, its other words]; show: what -> node. Only what is found is
   * built; what has the words in its name comes first.
   */
  function field(title, entries, show) {
    let known = null; // made plain at the first letter: ten thousand entries need not be before
    const input = el("input", { type: "search", id: "search", autocomplete: "off", enterkeyhint: "search" });
    const count = el("p", { role: "status", class: "note" });
    const found = el("div", {});
    const clear = button({ class: "tool", hidden: "" }, () => { input.value = ""; look(); input.focus(); }, "Clear");
    const node = el("div", { class: "search", role: "search" }, el("label", { for: "search" }, title), el("div", { class: "field" }, input, clear), count, found);

    function look() {
      known ||= entries.map(([what, name, others]) => [what, plain(name), plain(`${name} ${others}`)]);
      const words = plain(input.value).split(/\s+/).filter(Boolean);
      const has = (all) => words.every((word) => all.includes(word));
      const fits = words.length ? known.filter(([, , all]) => has(all)).sort((a, b) => has(b[1]) - has(a[1])) : [];
      node.parentElement.classList.toggle("searching", words.length > 0);
      clear.hidden = !words.length;
      found.replaceChildren(...fits.slice(0, MOST).map(([what]) => show(what)));
      count.textContent = words.length ? tell(fits.length) : "";
    }
    input.addEventListener("input", look);
    input.addEventListener("keydown", (event) => {
      if (event.key === "Escape") { input.value = ""; look(); }
      else if (event.key === "Enter") found.querySelector("button")?.click();
    });
    return node;
  }

  function tell(number) {
    if (!number) return "Nothing has these words.";
    return number > MOST ? `${number} found; the first ${MOST} stand here` : `${number} found`;
  }

  function focus() {
    const input = document.getElementById("search");
    input.scrollIntoView({ block: "start" });
    input.focus();
  }

  return { field, focus };
})();
