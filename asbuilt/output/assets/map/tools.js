/* The row of large buttons under the plan. */
"use strict";
asbuilt.tools = (() => {
  const { map, el, svg, picture, button } = asbuilt;
  const row = document.getElementById("tools");
  const PICTURES = {
    find: "M10 3A7 7 0 1 0 10 17A7 7 0 1 0 10 3ZM15 15L21 21",
    layers: "M12 3L22 8L12 13L2 8ZM3 12.5L12 17L21 12.5M3 17L12 21.5L21 17",
    measure: "M2 9H22V15H2ZM6 9V12M10 9V13M14 9V12M18 9V13",
    where: "M12 7A5 5 0 1 0 12 17A5 5 0 1 0 12 7ZM12 2V6M12 18V22M2 12H6M18 12H22",
    bigger: "M4 9V4H9M20 9V4H15M4 15V20H9M20 15V20H15",
    whole: "M3 12L12 4L21 12M6 10V20H18V10",
  };

  const image = (name) => picture(24, 28, svg("path", { d: PICTURES[name], class: "stroke" }));

  /** A button that does something at once. */
  function add(name, words, act) {
    const label = el("span", {}, words);
    const node = button({ class: "tool", id: `tool-${name}` }, () => act(label, node), image(name), label);
    row.append(node);
    return node;
  }

  /** A button that stays pressed until it is pressed again. */
  function addSwitch(name, words, toggle) {
    const node = add(name, words, () => {
      const on = node.getAttribute("aria-pressed") !== "true";
      node.setAttribute("aria-pressed", String(on));
      toggle(on);
    });
    node.setAttribute("aria-pressed", "false");
  }

  /** On a phone the whole screen can be the map's. */
  function addBigger() {
    add("bigger", "Bigger map", () => document.body.classList.toggle("map-only") && map.closePopup());
    new MutationObserver(() => {
      const only = document.body.classList.contains("map-only");
      row.querySelector("#tool-bigger span").textContent = only ? "Show list" : "Bigger map";
      map.invalidateSize({ animate: false });
    }).observe(document.body, { attributes: true, attributeFilter: ["class"] });
  }

  return { add, addSwitch, addBigger, image };
})();
