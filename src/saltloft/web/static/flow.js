// Receiving, making and dividing: what was chosen fills the rest in; sums are shown
// while one types; without a network the entry waits in the outbox. Without this
// script the same forms are sent to the server as they stand.
(function () {
  "use strict";
  const box = self.SaltloftOutbox;
  const said = (document.getElementById("entry-words") || { dataset: {} }).dataset;
  const number = function (text) { return Number((text || "").trim().replace(",", ".")); };
  const field = function (form, name) { return form.elements[name] ? form.elements[name].value.trim() : ""; };
  const fill = function (form, name, value) { if (form.elements[name] && value !== undefined) { form.elements[name].value = value; } };

  function tell(form, sort, lines) {
    const place = form.querySelector(".told");
    const part = document.createElement("div");
    part.className = sort;
    for (const line of lines.filter(Boolean)) {
      const paragraph = document.createElement("p");
      paragraph.textContent = line;
      part.append(paragraph);
    }
    place.replaceChildren(part);
    place.scrollIntoView({ block: "nearest" });
  }

  // ---- choosing what came fills number, supplier and sort in ---------------
  for (const row of document.querySelectorAll("[data-fills]")) {
    row.addEventListener("change", function (event) {
      const own = event.target.dataset, form = event.target.form;
      fill(form, "material_lot", own.number);
      fill(form, "supplier", own.supplier);
      fill(form, "sort", own.sort);
    });
  }

  // ---- sums of a batch sheet ------------------------------------------------
  function sums(form) {
    const place = form.querySelector("[data-sum]");
    if (!place) { return; }
    let whole = 0;
    for (const input of form.querySelectorAll("[data-adds]")) { whole += number(input.value) || 0; }
    place.textContent = whole.toFixed(2);
  }
  for (const form of document.querySelectorAll("form.flow")) {
    form.addEventListener("input", function () { sums(form); });
    sums(form);
  }

  // ---- without a network: the delivery as the journal keeps it ---------------
  const celsius = function (form, name) {
    const text = field(form, name).replace(",", ".").replace("−", "-");
    if (!text) { return null; }
    return form.dataset.temperature === "us" ? ((Number(text) - 32) / 1.8).toFixed(1) : text;
  };
  const payloads = {
    "material.received/2": function (form) {
      const chosen = form.querySelector("input[name=material]:checked");
      const made = {
        material_lot: field(form, "material_lot"), material: field(form, "other_material") || (chosen ? chosen.value : ""),
        supplier: field(form, "supplier"), mass: { number: field(form, "mass"), unit: form.dataset.unit },
        decision: field(form, "decision"), supplier_lot: field(form, "supplier_lot"), sort: field(form, "sort"),
        best_before: field(form, "best_before"), note: field(form, "note"), pieces: Number(field(form, "pieces") || 0),
        documents: field(form, "documents").split(/[,; ]+/).filter(Boolean),
      };
      if (celsius(form, "core") !== null) { made.core_temperature_c = celsius(form, "core"); }
      if (celsius(form, "truck") !== null) { made.truck_temperature_c = celsius(form, "truck"); }
      if (field(form, "ph")) { made.ph = field(form, "ph").replace(",", "."); }
      return made;
    },
  };

  async function keep(form) {
    const name = field(form, form.dataset.subject);
    try {
      const item = await box.add({
        kind: form.dataset.kind, subject: name, payload: payloads[form.dataset.kind](form), person: self.SaltloftPage.person(),
        label: [name, field(form, "mass"), form.dataset.unit].filter(Boolean).join(" · "), page: form.dataset.page,
        happened_at: self.SaltloftPage.now(), clock_offset_ms: self.SaltloftPage.clockOffset(),
      });
      await self.SaltloftPage.showWaiting();
      tell(form, "ask", [(said.sayKept || "").replace("#label", item.label)]);
      form.elements.mass.value = "";
      self.SaltloftPage.askForBackgroundSync().catch(function () {});
    } catch (error) {
      tell(form, "problem", [said.sayNotKept, error.message]);
    }
  }

  for (const form of document.querySelectorAll("form.flow[data-kind]")) {
    form.addEventListener("submit", function (event) {
      // With a network the server answers with the page; only without one the form stays here.
      if (navigator.onLine || !payloads[form.dataset.kind]) { return; }
      event.preventDefault();
      if (!field(form, "mass")) { tell(form, "problem", [said.sayNothing]); return; }
      keep(form);
    });
  }
}());
