/* The shapes of points and the pieces of lines that stand for them in lists and in the key. */
"use strict";
asbuilt.symbols = (() => {
  const { svg, picture } = asbuilt;

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
  const TITLES = {
    lid: "Lid, riser or cover", cleanout: "Cleanout", flush: "Flushing end, turn-up", valve: "Valve",
    port: "Inspection port", box: "Panel or box", well: "Well", spot: "Bend, pipe end, other point", mark: "Mark to measure from",
  };

  function symbol(name, colour, unsure) {
    const shape = SHAPES[name].map(([tag, attributes]) => svg(tag, attributes));
    const doubt = unsure && name !== "mark" && name !== "spot" ? [svg("text", { x: 22, y: 22, class: "doubt" }, "?")] : [];
    const node = picture(44, 44, ...shape, ...doubt);
    node.setAttribute("class", unsure ? "symbol unsure" : "symbol");
    node.setAttribute("color", colour);
    return node;
  }

  /** A piece of a line or of an area. */
  function swatch(group, area) {
    const d = area ? "M6 12H38V32H6Z" : "M2 22H42";
    const fill = { fill: area ? group.fill : "none", "fill-opacity": 0.35 };
    const line = { stroke: group.colour, "stroke-width": area ? 4 : 6, "stroke-dasharray": group.dash };
    return picture(44, 44, svg("path", { d, ...fill, ...line }));
  }

  const ring = () => picture(44, 44, svg("ellipse", { cx: 22, cy: 22, rx: 17, ry: 12, fill: "#1c1c1c", "fill-opacity": 0.12, stroke: "#1c1c1c", "stroke-width": 2 }));

  return { SHAPES, TITLES, symbol, swatch, ring };
})();
