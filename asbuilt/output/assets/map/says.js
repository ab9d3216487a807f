/* The strip under the plan in which the tools say what they found. */
"use strict";
asbuilt.says = (() => {
  const { map, el, button } = asbuilt;
  const strip = document.getElementById("says");

  /** Make the place of one tool in the strip; `stop` ends the tool. */
  function place(stopWords, stop) {
    const words = el("div", { role: "status", class: "words" });
    const node = el("div", { class: "said", hidden: "" }, words, button({ class: "tool" }, stop, stopWords));
    strip.append(node);
    let last = null;

    /** Say lines of text, the first in large letters; none = take the place away. */
    function say(...lines) {
      const now = lines.join("\n");
      if (now === last) return; // a screen reader is told only what is new
      last = now;
      words.replaceChildren(...lines.map((line, k) => el("p", k ? {} : { class: "first" }, line)));
      const changes = node.hidden === lines.length > 0;
      node.hidden = !lines.length;
      if (changes || lines.length) map.invalidateSize({ animate: false, pan: false });
    }
    return say;
  }

  return { place };
})();
