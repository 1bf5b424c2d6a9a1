// Keeps the page as the room is. Without it the page looks again by itself every 30 s.
"use strict";
(() => {
  const now = document.querySelector("[data-live]");
  const stale = document.querySelector(".stale");
  if (!now || !stale || !window.EventSource) return;
  const patience = 45000;
  let heard = Date.now();
  let source;
  const hear = () => { heard = Date.now(); stale.hidden = true; };
  const listen = () => {
    if (source) source.close();
    source = new EventSource(now.dataset.live);
    source.addEventListener("message", (event) => { now.innerHTML = event.data; hear(); });
    source.addEventListener("alive", hear);
  };
  listen();
  // A browser gives some broken streams up; after a long silence the page says so and begins anew.
  setInterval(() => {
    if (Date.now() - heard < patience) return;
    stale.hidden = false;
    listen();
  }, 15000);
})();
