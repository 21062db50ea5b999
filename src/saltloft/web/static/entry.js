// Entering a number on the floor: the pad, the question about an unexpected
// number, the outbox, and the step to the next piece. Without this script the
// same forms are sent to the server as they stand.
(function () {
  "use strict";
  const box = self.SaltloftOutbox;
  const PLAIN = /^\d+([.,]\d+)?$/;
  const PATIENCE_MS = 4000;

  const said = document.getElementById("entry-words").dataset;
  const words = function (name, values) {
    let text = said[name] || "";
    for (const key of Object.keys(values || {})) { text = text.replace("#" + key, values[key]); }
    return text;
  };
  const value = function (text) { return Number(text.trim().replace(",", ".")); };
  const chosen = function (form, name) { return form.querySelector("input[name=" + name + "]:checked"); };
  const field = function (form, name) { return form.elements[name] ? form.elements[name].value : ""; };

  function startPad(form) {
    const input = form.querySelector(".reading input");
    // A form of taps only has no number to type.
    if (!input) { return; }
    const pad = document.getElementById("pad").content.firstElementChild.cloneNode(true);
    form.querySelector(".pad-place").replaceWith(pad);
    // On a touch screen the page's own pad is the keyboard.
    if (window.matchMedia("(pointer: coarse)").matches) { input.inputMode = "none"; }
    pad.addEventListener("click", function (event) {
      const key = event.target.closest("button");
      if (!key) { return; }
      if (key.dataset.key === "back") { input.value = input.value.slice(0, -1); }
      else if (input.value.length < 9) { input.value += key.dataset.key; }
      input.dispatchEvent(new Event("input"));
    });
    input.addEventListener("input", function () { form.querySelector(".reading").classList.remove("wrong"); });
  }

  // What is said after an entry stays until the next one.
  function tell(form, sort, lines, buttons) {
    const place = form.querySelector(".told");
    place.replaceChildren();
    const part = document.createElement("div");
    part.className = sort;
    for (const line of lines.filter(Boolean)) {
      const paragraph = document.createElement("p");
      paragraph.textContent = line;
      part.append(paragraph);
    }
    if (buttons) {
      const row = document.createElement("div");
      row.className = "do even";
      row.append.apply(row, buttons);
      part.append(row);
    }
    place.append(part);
    if (sort !== "stored") { place.scrollIntoView({ block: "nearest" }); }
  }

  function button(word, first, act) {
    const made = document.createElement("button");
    made.type = "button";
    made.className = first ? "button first" : "button";
    made.textContent = word;
    made.addEventListener("click", act);
    return made;
  }

  function refuse(form, line) {
    const reading = form.querySelector(".reading");
    if (reading) { reading.classList.add("wrong"); }
    tell(form, "problem", [line]);
  }

  // ---- pH and other sets: several readings taken together -----------------
  function listed(form) {
    return Array.from(form.querySelectorAll(".values button"), function (own) { return own.dataset.value; });
  }

  function list(form, text) {
    const made = document.createElement("button");
    made.type = "button";
    made.dataset.value = text;
    made.textContent = text;
    made.setAttribute("aria-label", words("sayTakeBack", { value: text }));
    made.addEventListener("click", function () {
      form.querySelector(".reading input").value = text;
      made.remove();
    });
    form.querySelector(".values").append(made);
  }

  function startSet(form) {
    const more = form.querySelector("[data-more]");
    if (!more) { return; }
    more.hidden = false;
    more.addEventListener("click", function () {
      const input = form.querySelector(".reading input");
      if (!PLAIN.test(input.value.trim())) { refuse(form, words("sayNotNumber", { value: input.value })); return; }
      list(form, input.value.trim());
      input.value = "";
      input.focus({ preventScroll: true });
    });
  }

  // What hangs on the scale besides, as it was weighed empty.
  function tare(form) {
    const parts = field(form, "tare").split(" ");
    return parts.length === 2 ? { tare: { number: parts[0], unit: parts[1] } } : {};
  }

  // ---- payloads -----------------------------------------------------------
  const payloads = {
    "piece.weighed/1": function (form, typed) {
      const tag = chosen(form, "tag");
      return {
        lot: field(form, "lot"), mass: { number: typed[0], unit: field(form, "unit") },
        instrument: field(form, "instrument"), tag: tag ? tag.value : "",
        pieces: Number(field(form, "pieces") || 1), rack: field(form, "rack"), ...tare(form),
      };
    },
    "ph.read/1": function (form, typed) {
      return { lot: field(form, "lot"), values: typed, where: field(form, "where"), instrument: field(form, "instrument") };
    },
    "water_activity.read/1": function (form, typed) {
      return { lot: field(form, "lot"), value: typed[0], sample: field(form, "sample"), instrument: field(form, "instrument") };
    },
    "lot.pressed_and_cut/2": function (form) {
      const tapped = function (name) { const own = chosen(form, name); return own ? own.value : ""; };
      const grade = function (name) { return tapped(name) === "" ? -1 : Number(tapped(name)); };
      const said = {
        lot: field(form, "lot"), press: ["top", "middle", "bottom"].map(tapped).filter(Boolean).map(Number),
        ring: grade("ring"), hollow: grade("hollow"), smear: grade("smear"), colour: field(form, "colour"), good: grade("good"),
      };
      if (tapped("rim")) { said.rim_mm = tapped("rim"); }
      return said;
    },
    "ham.weighed/1": function (form, typed) {
      return {
        lot: field(form, "lot"), mass: { number: typed[0], unit: field(form, "unit") },
        legs: Number(field(form, "pieces") || 1), instrument: field(form, "instrument"),
      };
    },
  };

  function typedValues(form) {
    const input = form.querySelector(".reading input");
    const typed = form.querySelector(".values") ? listed(form) : [];
    if (input && input.value.trim()) { typed.push(input.value.trim()); }
    return typed;
  }

  // The range the server expects, beside the piece or the form it belongs to.
  function unexpected(form, typed) {
    const tag = chosen(form, "tag");
    const range = (tag && tag.dataset.low ? tag : form).dataset;
    if (!range.low) { return ""; }
    const odd = typed.find(function (text) { return value(text) < Number(range.low) || value(text) > Number(range.high); });
    return odd === undefined ? "" : words("sayUnexpected", { value: odd, last: range.last || "" });
  }

  async function submit(form, kept) {
    const typed = typedValues(form);
    if (!typed.length && form.querySelector(".reading")) { refuse(form, words("sayNothing")); return; }
    const odd = typed.find(function (text) { return !PLAIN.test(text); });
    if (odd !== undefined) { refuse(form, words("sayNotNumber", { value: odd })); return; }
    const question = kept ? "" : unexpected(form, typed);
    if (question) { ask(form, question, function () { submit(form, true); }); return; }
    const payload = payloads[form.dataset.kind](form, typed);
    if (kept) { payload.kept = 1; }
    const tag = chosen(form, "tag");
    await store(form, {
      kind: form.dataset.kind, subject: field(form, "lot"), payload: payload, person: self.SaltloftPage.person(),
      label: [field(form, "lot"), tag ? tag.value : "", (typed.join(" ") + " " + field(form, "unit")).trim()].filter(Boolean).join(" · "), page: form.dataset.page,
      happened_at: self.SaltloftPage.now(), clock_offset_ms: self.SaltloftPage.clockOffset(),
    });
  }

  function ask(form, question, keep) {
    const mend = button(said.sayMend, false, function () {
      form.querySelector(".told").replaceChildren();
      const input = form.querySelector(".reading input");
      if (input) { input.select(); }
    });
    tell(form, "ask", [question], [mend, button(said.sayKeep, true, keep)]);
  }

  async function store(form, draft) {
    const done = form.querySelector("button[type=submit]");
    done.disabled = true;
    try {
      const item = await box.add(draft);
      const sent = await Promise.race([
        self.SaltloftPage.sendWaiting(),
        new Promise(function (resolve) { setTimeout(resolve, PATIENCE_MS, { receipts: new Map(), problem: new Error("slow") }); }),
      ]);
      await self.SaltloftPage.showWaiting();
      await answer(form, item, sent.receipts.get(item.id));
    } catch (error) {
      tell(form, "problem", [words("sayNotKept"), error.message]);
    } finally {
      done.disabled = false;
    }
  }

  async function answer(form, item, receipt) {
    if (receipt && receipt.status === "refused") {
      await box.drop(item.id);
      refuse(form, receipt.words);
    } else if (receipt && receipt.status === "ask") {
      await box.drop(item.id);
      ask(form, receipt.words, function () { submit(form, true); });
    } else {
      if (navigator.vibrate) { navigator.vibrate(receipt ? 60 : [40, 60, 40]); }
      if (receipt) { tell(form, "stored", [item.label + ": " + receipt.words, receipt.expected]); }
      else {
        tell(form, "ask", [words("sayKept", { label: item.label })]);
        self.SaltloftPage.askForBackgroundSync().catch(function () {});
      }
      await advance(form);
    }
    await self.SaltloftPage.showWaiting();
  }

  // ---- the next piece, then the next job ----------------------------------
  async function advance(form) {
    const input = form.querySelector(".reading input");
    const list = form.querySelector(".values");
    if (input) { input.value = ""; } else { form.reset(); }
    if (list) { list.replaceChildren(); }
    const tag = chosen(form, "tag");
    if (tag) { tag.closest("label").classList.add("done"); }
    const left = Array.from(form.querySelectorAll("input[name=tag]")).filter(function (own) { return !own.closest("label").classList.contains("done"); });
    if (tag && left.length) {
      left[0].checked = true;
      left[0].dispatchEvent(new Event("change", { bubbles: true }));
    } else if (form.dataset.job) {
      await box.markDone(form.dataset.job);
      showJob(form.querySelector(".told"));
    }
  }

  async function showJob(told) {
    const jobs = Array.from(document.querySelectorAll("[data-jobs] > section"));
    if (!jobs.length) { return; }
    const done = await box.doneKeys();
    const next = jobs.find(function (job) { return !done.has(job.dataset.key); }) || document.getElementById("no-job");
    for (const job of jobs) { job.hidden = job !== next; }
    if (told && next && next.querySelector(".told")) { next.querySelector(".told").replaceChildren.apply(next.querySelector(".told"), told.childNodes); }
  }

  function showPiece(form, tag) {
    const title = form.querySelector("[data-tag-title]");
    const last = form.querySelector("[data-tag-last]");
    if (title) { title.textContent = tag.value; }
    if (last) { last.textContent = last.dataset.say.replace("#last", tag.dataset.last || "–"); }
  }

  // A kept page opened for another lot: the address says which.
  function showLot() {
    const sections = Array.from(document.querySelectorAll("[data-lots] > section"));
    if (!sections.length) { return; }
    const wanted = new URLSearchParams(location.search);
    const found = sections.find(function (own) { return own.dataset.lot && own.dataset.lot === wanted.get("lot"); });
    for (const section of sections) { section.hidden = section !== (found || document.getElementById("pick")); }
    const tag = found && Array.from(found.querySelectorAll("input[name=tag]")).find(function (own) { return own.value === wanted.get("tag"); });
    if (tag) { tag.checked = true; showPiece(tag.form, tag); }
  }

  document.addEventListener("click", function (event) {
    const link = event.target.closest("a[data-show]");
    if (!link) { return; }
    event.preventDefault();
    history.pushState({}, "", link.getAttribute("href"));
    showLot();
    window.scrollTo(0, 0);
  });
  window.addEventListener("popstate", showLot);
  document.addEventListener("submit", function (event) {
    const form = event.target.closest("form.entry");
    if (!form) { return; }
    event.preventDefault();
    submit(form, false);
  });
  document.addEventListener("change", function (event) {
    if (event.target.name === "tag" && event.target.form) { showPiece(event.target.form, event.target); }
  });
  document.querySelectorAll("form.entry").forEach(function (form) { startPad(form); startSet(form); });
  showLot();
  showJob(null);
})();
