/* Distances and directions on the property, and how they are written in its own units. */
"use strict";
asbuilt.lengths = (() => {
  const { data, map, toLatLng } = asbuilt;
  const [metresPerLon, metresPerLat] = data.metres_per_degree;
  const FOOT = 0.3048;
  const MILE = 1609.344;
  const COMPASS = ["north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"];

  /** Metres east and north from one place to another; Leaflet's own distances are those of a sphere. */
  const offset = (from, to) => [(to[0] - from[0]) * metresPerLon, (to[1] - from[1]) * metresPerLat];

  /** Metres; the two factors hold on the property, so far from it a sphere is as good. */
  function distance(from, to) {
    const metres = Math.hypot(...offset(from, to));
    return metres < 5000 ? metres : map.distance(toLatLng(from), toLatLng(to));
  }

  /** Degrees clockwise from north. */
  function bearing(from, to) {
    const [east, north] = offset(from, to);
    return (Math.round((Math.atan2(east, north) * 180) / Math.PI) + 360) % 360;
  }
  const compass = (degrees) => COMPASS[Math.round(degrees / 45) % 8];

  /** The place so many metres east and north of another. */
  const moved = ([longitude, latitude], east, north) => [longitude + east / metresPerLon, latitude + north / metresPerLat];

  /** An accuracy, rounded up: 5 in, 13 ft, 0.12 m. */
  function roughly(metres) {
    if (data.units === "m") return metres < 1 ? `${(Math.ceil(metres * 100) / 100).toFixed(2)} m` : `${(Math.ceil(metres * 10) / 10).toFixed(1)} m`;
    const feet = metres / FOOT;
    if (data.units === "ft") return `${(Math.ceil(feet * 10) / 10).toFixed(1)} ft`;
    return feet < 3 ? `${Math.max(1, Math.ceil(feet * 12))} in` : `${Math.ceil(feet)} ft`;
  }

  /** A length as on a tape: 23' 4 1/2", 23.38 ft, 7.12 m; `step` is the part of an inch that it is rounded to. */
  function exactly(metres, step = 0.5) {
    if (data.units === "m") return `${metres.toFixed(2)} m`;
    if (data.units === "ft") return `${(metres / FOOT).toFixed(2)} ft`;
    const inches = Math.round(metres / FOOT * 12 / step) * step;
    const [feet, rest] = [Math.floor(inches / 12), inches % 12];
    const [whole, half] = [Math.floor(rest), rest % 1 ? "1/2" : ""];
    const last = [whole || !half ? String(whole) : "", half].filter(Boolean).join(" ");
    return feet ? `${feet}' ${last}"` : `${last}"`;
  }

  /** How far one has to walk: 43 ft, 2.1 miles, 13 m, 3.4 km. */
  function walk(metres) {
    if (data.units === "m") return metres < 1000 ? `${Math.round(metres)} m` : `${(metres / 1000).toFixed(1)} km`;
    return metres < 1000 * FOOT ? `${Math.round(metres / FOOT)} ft` : `${(metres / MILE).toFixed(1)} miles`;
  }

  const pixelsPerMetre = () => (256 * 2 ** map.getZoom()) / 360 / metresPerLon;

  return { FOOT, distance, bearing, compass, moved, roughly, exactly, walk, pixelsPerMetre };
})();
