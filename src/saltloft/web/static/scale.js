// The weighing screen shows what its scale shows; a tap takes the number in.
(function () {
  "use strict";
  const EVERY_MS = 1000;

  function shownForm() {
    return Array.from(document.querySelectorAll("form.entry[action='/enter/weigh']")).find(function (form) { return form.offsetParent !== null; });
  }

  function take(form, shown) {
    const input = form.querySelector(".reading input");
    input.value = shown.number;
    form.elements.unit.value = shown.unit;
    form.querySelector(".reading .unit").textContent = shown.unit;
    input.dispatchEvent(new Event("input"));
  }

  function show(form, shown) {
    const place = form.querySelector("[data-from-scale]");
    if (!shown || !shown.number) { place.replaceChildren(); return; }
    const words = (shown.still ? place.dataset.say : place.dataset.sayMoving)
      .replace("#scale", shown.scale).replace("#number", shown.number + " " + shown.unit);
    let button = place.querySelector("button");
    if (!button) {
      button = document.createElement("button");
      button.type = "button";
      button.className = "button quiet";
      place.replaceChildren(button);
    }
    if (button.textContent !== words) { button.textContent = words; }
    button.disabled = !shown.still;
    button.onclick = function () { take(form, shown); };
  }

  async function look() {
    const form = shownForm();
    if (!form || document.hidden || !form.elements.instrument || !form.elements.instrument.value) { return; }
    try {
      const answer = await fetch("/api/v1/scale/" + encodeURIComponent(form.elements.instrument.value), { credentials: "same-origin" });
      show(form, answer.ok ? await answer.json() : null);
    } catch (error) {
      show(form, null);
    }
  }

  setInterval(look, EVERY_MS);
  look();
})();
