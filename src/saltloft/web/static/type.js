// Typing a sheet in: Enter goes on, lines are kept on the device until the house has them.
(function () {
  "use strict";
  const form = document.querySelector("form.typing");
  const KEY = "saltloft-sheet-" + form.dataset.sort;
  const SHEET = ["when", "instrument", "unit"];
  const fields = function () { return Array.from(form.querySelectorAll(".lines input:not([type=hidden]):not([type=checkbox])")); };

  function keep() {
    const values = {};
    for (const own of form.elements) { if (own.name && own.name !== "csrf") { values[own.name] = own.value; } }
    localStorage.setItem(KEY, JSON.stringify(values));
  }

  function bring() {
    const values = JSON.parse(localStorage.getItem(KEY) || "null");
    if (!values) { return; }
    const typed = Object.keys(values).some(function (name) { return /^(lot|tag|number)\./.test(name) && values[name]; });
    if (!typed) { return; }
    for (const own of form.elements) {
      // The id goes with its line: what was sent and not answered is not stored twice.
      if (own.name in values && (own.name.includes(".") || SHEET.includes(own.name))) { own.value = values[own.name]; }
    }
  }

  form.addEventListener("input", keep);
  form.addEventListener("keydown", function (event) {
    if (event.key !== "Enter" || event.target.tagName !== "INPUT" || event.ctrlKey) { return; }
    const all = fields();
    const place = all.indexOf(event.target);
    if (place < 0) { return; }
    event.preventDefault();
    // In an empty line Enter sends what stands above.
    const row = event.target.closest("tr");
    const empty = Array.from(row.querySelectorAll("input:not([type=hidden])")).every(function (own) { return !own.value; });
    if (empty && place > 0) { form.requestSubmit(); return; }
    const next = all[place + 1];
    if (next) { next.focus(); next.select(); } else { form.requestSubmit(); }
  });
  form.addEventListener("submit", async function (event) {
    event.preventDefault();
    keep();
    let reached = false;
    try { reached = (await fetch("/api/v1/clock", { credentials: "same-origin", cache: "no-store" })).ok; } catch (error) { reached = false; }
    if (reached) { form.submit(); return; }
    const away = document.getElementById("away");
    away.textContent = form.dataset.sayAway;
    away.hidden = false;
  });

  if (form.dataset.fresh === undefined) { keep(); } else { bring(); }
  const wrong = form.querySelector("[aria-invalid]");
  const first = wrong || fields().find(function (own) { return !own.value; });
  if (first) { first.focus(); }
})();
