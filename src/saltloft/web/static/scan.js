// Reads a code with the camera where the browser can; otherwise the field below is the way.
(function () {
  "use strict";
  const place = document.getElementById("camera");
  const view = document.getElementById("view");
  const said = document.getElementById("camera-said");
  const form = document.getElementById("by-hand");

  async function start() {
    const formats = "BarcodeDetector" in window ? await window.BarcodeDetector.getSupportedFormats() : [];
    if (!formats.length || !navigator.mediaDevices) { said.textContent = place.dataset.sayNone; return; }
    const stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
    view.srcObject = stream;
    place.hidden = false;
    await view.play();
    const reader = new window.BarcodeDetector({ formats: formats });
    const timer = setInterval(async function () {
      const codes = await reader.detect(view).catch(function () { return []; });
      if (!codes.length) { return; }
      clearInterval(timer);
      for (const track of stream.getTracks()) { track.stop(); }
      form.elements.code.value = codes[0].rawValue;
      form.submit();
    }, 250);
  }

  start().catch(function () { said.textContent = place.dataset.sayNone; });
})();
