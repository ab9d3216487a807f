/* Runs before the page is laid out: where scripts run, the still plan makes room for the map.
 *
 * A viewer that runs no script never gets here and keeps the still plan; so does one in which the map fails to start.
 */
"use strict";
(() => {
  const root = document.documentElement.classList;
  root.add("scripted");
  window.addEventListener("error", () => root.contains("ready") || root.remove("scripted"));
})();
