/* What is shown: by system (folium's own layers), by how well it is known, by what is due, by year. */
"use strict";
asbuilt.layers = (() => {
  const { data, map, el, svg, picture, button, list, parts, labels, lengths } = asbuilt;
  const choice = document.getElementById("choice");
  const boxes = []; // [checkbox, title of its set, class]
  const DAYS = 90;

  /** The component that a feature belongs to, or itself; marks, buildings and what is proposed are never filtered. */
  const subject = (f) => (["component", "point"].includes(f.role) ? parts.componentOf(f) || f : null);

  const STEPS = data.units === "m" ? [[0.15, "Within 15 cm"], [0.3, "Within 30 cm"], [1, "Within 1 m"]]
    : [[0.5, "Within 6 in"], [1, "Within 1 ft"], [3, "Within 3 ft"]].map(([feet, words]) => [feet * lengths.FOOT, words]);
  const FARTHER = data.units === "m" ? "Not within 1 m" : "Not within 3 ft";

  function accuracy(f) {
    const radius = f.attributes.r95_m;
    if (!(radius > 0)) return "No figure";
    return (STEPS.find(([most]) => radius <= most) || [0, FARTHER])[1];
  }

  function service(f) {
    const dues = list(subject(f).attributes.due);
    const soon = (due) => due.due_on && (Date.parse(due.due_on) - Date.parse(data.as_of)) / 86400000 <= DAYS;
    if (dues.some((due) => due.overdue)) return "Overdue";
    if (dues.some(soon)) return `Due within ${DAYS} days`;
    return dues.some((due) => due.due_on) ? "Due later" : "Nothing due";
  }

  const years = new Set(parts.components.map((c) => String(c.attributes.installed_on || "").slice(0, 4)).filter(Boolean));
  function year(f) {
    const own = String(subject(f).attributes.installed_on || "").slice(0, 4);
    if (!own) return "Year not recorded";
    return years.size > 6 ? `${own.slice(0, 3)}0 to ${own.slice(0, 3)}9` : own;
  }

  const SETS = [
    ["How well known, 19 times in 20", accuracy, [...STEPS.map(([, words]) => words), FARTHER, "No figure"]],
    ["Service", service, ["Overdue", `Due within ${DAYS} days`, "Due later", "Nothing due"]],
    ["Year put in", year, null],
  ];

  function apply() {
    const off = new Map();
    for (const [box, title, name] of boxes) if (!box.checked) off.set(title, (off.get(title) || new Set()).add(name));
    for (const f of parts.features.filter(subject)) parts.hide(f, SETS.some(([title, of]) => off.get(title)?.has(of(f))));
    labels.place();
  }

  function row(title, name, number) {
    const box = el("input", { type: "checkbox", checked: "" });
    box.addEventListener("change", apply);
    boxes.push([box, title, name]);
    return el("label", {}, box, ` ${name} (${number})`);
  }

  function set([title, of, order]) {
    const counts = new Map();
    for (const f of parts.features.filter((one) => subject(one) && one.parts.length)) counts.set(of(f), (counts.get(of(f)) || 0) + 1);
    const names = (order || [...counts.keys()].sort()).filter((name) => counts.has(name));
    return names.length > 1 ? el("fieldset", {}, el("legend", {}, title), ...names.map((name) => row(title, name, counts.get(name)))) : null;
  }

  function all() {
    for (const box of choice.querySelectorAll("input[type=checkbox]")) if (!box.closest(".behind") && !box.checked) box.click();
    apply();
  }

  const back = () => { close(); document.getElementById("tool-layers").focus({ preventScroll: true }); };

  /** folium's own control goes into the same sheet: one place for all that can be switched. */
  function fill() {
    const switches = document.querySelector("#plan .leaflet-control-layers-list");
    switches.closest(".leaflet-control").hidden = true;
    for (const box of switches.querySelectorAll("label")) box.classList.toggle("behind", box.textContent.includes("needs the internet"));
    const arrow = picture(24, 24, svg("path", { d: "M20 12H5M11 5L4 12L11 19", class: "stroke" }));
    choice.append(...[
      button({ class: "tool back" }, back, arrow, "Back to the list"),
      el("h2", { id: "choice-title", tabindex: "-1" }, "What is shown"),
      el("fieldset", {}, el("legend", {}, "System"), switches),
      ...SETS.map(set),
      button({ class: "tool" }, all, "Show everything"),
    ].filter(Boolean));
    choice.addEventListener("keydown", (event) => event.key === "Escape" && back());
  }

  function open() {
    map.closePopup();
    document.body.classList.remove("map-only");
    document.body.classList.add("choosing");
    map.invalidateSize({ animate: false });
    document.getElementById("choice-title").focus({ preventScroll: true });
    choice.scrollTop = 0;
  }
  const close = () => document.body.classList.remove("choosing");

  return { fill, open, close };
})();
