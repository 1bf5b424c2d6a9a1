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
  // Whoever goes by keys stays where they are.
  const show = (html) => {
    const at = now.contains(document.activeElement) ? document.activeElement.getAttribute("href") : null;
    now.innerHTML = html;
    if (at) now.querySelector(`[href="${CSS.escape(at)}"]`)?.focus();
  };
  const listen = () => {
    if (source) source.close();
    source = new EventSource(now.dataset.live);
    source.addEventListener("message", (event) => { show(event.data); hear(); });
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
