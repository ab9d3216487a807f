/* The scale bar and the arrow on the plan. */
"use strict";
asbuilt.scale = (() => {
  const { data, map, el, svg, control, lengths } = asbuilt;

  function bar() {
    const line = el("div", { class: "bar" });
    const words = el("span");
    control("bottomleft", el("div", { class: "scale" }, words, line));
    const [unit, name] = data.units === "m" ? [1, "m"] : [lengths.FOOT, "ft"];
    const update = () => {
      const most = 150 / (lengths.pixelsPerMetre() * unit); // the longest round length within 150 px
      const ten = 10 ** Math.floor(Math.log10(most));
      const long = [5, 2, 1].find((digit) => digit * ten <= most) * ten;
      line.style.width = `${long * unit * lengths.pixelsPerMetre()}px`;
      words.textContent = `${Number(long.toPrecision(1))} ${name}`;
    };
    map.on("zoom zoomend", update);
    update();
  }

  function north() {
    const up = data.north_up;
    const box = { viewBox: up ? "0 0 60 64" : "-18 0 96 64", width: up ? 54 : 86, height: 58 };
    const said = { role: "img", "aria-label": up ? "North is up" : "Direction of the first wall" };
    const arrow = up ? "M30 4L42 40L30 32L18 40Z" : "M56 20L30 8V16H4V24H30V32Z";
    const words = svg("text", { x: 30, y: up ? 60 : 54, class: up ? "" : "long" }, up ? "N" : "first wall");
    control("bottomleft", el("div", { class: "north" }, svg("svg", { ...box, ...said }, svg("path", { d: arrow }), words)));
  }

  return { bar, north };
})();
