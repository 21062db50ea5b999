// The clock of a running drill: counts on from what the house measured when it sent the page.
(function () {
  "use strict";
  const shown = document.querySelector("[data-clock]");
  if (!shown) { return; }
  const before = Number(shown.dataset.clock);
  const opened = performance.now();
  const text = shown.firstChild;

  function tick() {
    const seconds = before + Math.floor((performance.now() - opened) / 1000);
    const pad = function (value) { return String(value).padStart(2, "0"); };
    const hours = Math.floor(seconds / 3600);
    const minutes = Math.floor(seconds / 60) % 60;
    text.nodeValue = (hours ? hours + ":" + pad(minutes) : String(minutes)) + ":" + pad(seconds % 60);
  }

  tick();
  setInterval(tick, 1000);
})();
