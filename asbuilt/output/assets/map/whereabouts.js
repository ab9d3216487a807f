/* My position where the browser gives it: how well it is known, and how far and which way the chosen lid lies. */
"use strict";
asbuilt.whereabouts = (() => {
  const { data, map, toLatLng, lengths, parts, says, card, still } = asbuilt;
  const TAPES_M = data.units === "m" ? 5 : 15 * lengths.FOOT;
  const TAPES = data.units === "m" ? "5 m" : "15 ft";
  const FAR_M = 1000; // beyond it the plan stays on the property
  const drawn = L.layerGroup();
  const say = says.place("Stop", () => toggle(false));
  let watch = null;
  let fix = null;
  let target = null;

  const REFUSED = ["The browser was not allowed to give your position.", "Allow it for this page in the browser's settings. A file viewer inside another app may never give it: open the file in the browser itself."];
  const NONE = ["Your position cannot be had at the moment.", "Go into the open, switch the phone's location on, and wait; or use the tapes."];

  function start() {
    if (!data.placed) return say("This property has no place on the earth.", "So the map cannot tell where you stand. Measure from the house: choose a lid for its tapes.");
    if (!navigator.geolocation) return say("This browser gives no position.", "Use the tapes: choose a lid in the list.");
    drawn.addTo(map);
    say("Looking for your position ...");
    watch = navigator.geolocation.watchPosition(seen, failed, { enableHighAccuracy: true, maximumAge: 2000, timeout: 60000 });
    return undefined;
  }

  function stop() {
    if (watch !== null) navigator.geolocation?.clearWatch(watch);
    watch = fix = null;
    drawn.clearLayers();
    drawn.remove();
    say();
  }

  function failed(error) {
    if (!fix || error.code === error.PERMISSION_DENIED) say(...(error.code === error.PERMISSION_DENIED ? REFUSED : NONE));
  }

  function seen({ coords }) {
    const first = fix === null;
    fix = { at: [coords.longitude, coords.latitude], accuracy: coords.accuracy };
    draw();
    tell();
    if (first) show();
  }

  /** The browser's accuracy is the radius that holds 95 % (W3C Geolocation). */
  function draw() {
    drawn.clearLayers();
    const me = toLatLng(fix.at);
    const ring = Array.from({ length: 60 }, (_, k) => (k * Math.PI) / 30)
      .map((turn) => toLatLng(lengths.moved(fix.at, fix.accuracy * Math.cos(turn), fix.accuracy * Math.sin(turn))));
    drawn.addLayer(L.polygon(ring, { className: "me-ring", color: "#0046c7", weight: 3, fillOpacity: 0.12, interactive: false }));
    if (target && isNear()) drawn.addLayer(L.polyline([me, toLatLng(target.parts[0].at)], { color: "#0046c7", weight: 4, dashArray: "3 8", interactive: false }));
    drawn.addLayer(L.circleMarker(me, { className: "me", radius: 10, color: "#fff", weight: 4, fillColor: "#0046c7", fillOpacity: 1, interactive: false }));
  }

  const middle = () => L.latLngBounds(parts.features.flatMap(parts.cornersOf)).getCenter();
  const isNear = () => lengths.distance(fix.at, [middle().lng, middle().lat]) < FAR_M;

  function show() {
    if (!isNear()) return;
    const ends = target ? [toLatLng(target.parts[0].at)] : parts.features.filter((f) => f.group !== "gone").flatMap(parts.cornersOf);
    map.fitBounds(L.latLngBounds([toLatLng(fix.at), ...ends]), card.room(22, !still.matches));
  }

  function tell() {
    const mine = `Your position is good to ${lengths.roughly(fix.accuracy)}, 19 times in 20.`;
    if (!target) return say("You are the blue dot.", mine, "Choose a lid: its distance and direction then stand here.");
    const lid = target.parts[0].at;
    const metres = lengths.distance(fix.at, lid);
    const degrees = lengths.bearing(fix.at, lid);
    if (metres < TAPES_M) return say(`${target.name}: closer than ${TAPES}. Use the tapes.`, `A phone cannot show it better. ${mine}`);
    const unsure = Math.hypot(fix.accuracy, target.attributes.r95_earth_m || 0);
    const warning = metres < 2 * unsure ? ["Near it the direction may be wrong: use the tapes."] : [];
    return say(`${target.name}: ${lengths.walk(metres)} ${lengths.compass(degrees)} (${degrees}°)`, mine, ...warning);
  }

  card.whenOpened((f) => {
    if (!parts.isPoint(f)) return;
    target = f;
    if (!fix) return;
    draw();
    tell();
  });

  function toggle(on) {
    document.getElementById("tool-where").setAttribute("aria-pressed", String(on));
    if (on) start();
    else stop();
  }

  return { toggle };
})();
