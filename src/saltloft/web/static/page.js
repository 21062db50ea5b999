// Every page: the service worker, what still waits to be sent, and fragment swap.
(function () {
  "use strict";
  const box = self.SaltloftOutbox;
  const body = document.body;
  const RETRY_MS = 8000;

  async function showWaiting() {
    const badge = document.getElementById("waiting");
    if (!badge) { return; }
    const items = await box.all();
    const waiting = items.filter(function (item) { return item.state === "waiting"; }).length;
    const stuck = items.length - waiting;
    const words = [];
    if (waiting) { words.push(body.dataset.sayWaiting.replace("#", waiting)); }
    if (stuck) { words.push(body.dataset.sayRefused.replace("#", stuck)); }
    badge.textContent = words.join(" · ");
    badge.hidden = words.length === 0;
    document.dispatchEvent(new CustomEvent("saltloft:outbox", { detail: items }));
  }

  async function sendWaiting() {
    let receipts = new Map();
    let problem = null;
    try {
      receipts = await box.send();
    } catch (error) {
      problem = error;
    }
    await showWaiting();
    return { receipts: receipts, problem: problem };
  }

  async function askForBackgroundSync() {
    const registration = await navigator.serviceWorker.ready;
    if ("sync" in registration) {
      try { await registration.sync.register("outbox"); } catch (error) { /* the page itself retries */ }
    }
  }

  async function startWorker() {
    if (!("serviceWorker" in navigator)) { return; }
    await navigator.serviceWorker.register("/sw.js");
    const registration = await navigator.serviceWorker.ready;
    const wish = document.querySelector("meta[name=saltloft-keep]");
    if (registration.active && wish) { registration.active.postMessage({ keep: wish.content.split(" ") }); }
    if (registration.active && document.querySelector("[data-forget-pages]")) { registration.active.postMessage({ forget: true }); }
    if (navigator.storage && navigator.storage.persist) { navigator.storage.persist(); }
  }

  // The device's clock against the house's, measured whenever the house answers.
  async function measureClock() {
    const sent = Date.now();
    const answer = await fetch("/api/v1/clock", { credentials: "same-origin" });
    if (!answer.ok) { return; }
    const middle = (sent + Date.now()) / 2;
    localStorage.setItem("saltloft-clock-ms", String(Math.round(Date.parse((await answer.json()).now) - middle)));
  }

  function clockOffset() { return Number(localStorage.getItem("saltloft-clock-ms") || 0); }
  function now() { return new Date(Date.now() + clockOffset()).toISOString(); }

  // Fragment swap: a link or form with data-swap replaces that one part of the page.
  async function swap(url, target) {
    const answer = await fetch(url, { credentials: "same-origin" });
    if (!answer.ok) { location.assign(url); return; }
    const parsed = new DOMParser().parseFromString(await answer.text(), "text/html");
    const fresh = parsed.querySelector(target);
    const old = document.querySelector(target);
    if (!fresh || !old) { location.assign(url); return; }
    old.replaceWith(fresh);
    document.dispatchEvent(new CustomEvent("saltloft:swapped", { detail: fresh }));
  }

  document.addEventListener("click", function (event) {
    const link = event.target.closest("a[data-swap]");
    if (!link || event.ctrlKey || event.metaKey || event.shiftKey) { return; }
    event.preventDefault();
    history.pushState({ swap: link.dataset.swap }, "", link.href);
    swap(link.href, link.dataset.swap);
  });
  window.addEventListener("popstate", function (event) {
    if (event.state && event.state.swap) { swap(location.href, event.state.swap); }
    else if (document.querySelector("[data-swap]")) { location.reload(); }
  });

  // A page whose numbers are being recomputed looks again, quietly, until they are there.
  function lookAgain(part) {
    if (!part || !part.dataset.lookAgain) { return; }
    setTimeout(function () { swap(location.href, "#" + part.id).catch(function () { lookAgain(part); }); }, Number(part.dataset.lookAgain) * 1000);
  }
  document.addEventListener("saltloft:swapped", function (event) { lookAgain(event.detail); });
  lookAgain(document.querySelector("[data-look-again]"));

  // A file above its limit is named before a byte of it is sent.
  for (const field of document.querySelectorAll("input[type=file][data-most]")) {
    field.addEventListener("change", function () {
      const large = Array.from(field.files).some(function (file) { return file.size > Number(field.dataset.most); });
      field.setCustomValidity(large ? field.dataset.sayLarge : "");
      field.reportValidity();
    });
  }

  const printer = document.querySelector("[data-print]");
  if (printer) { printer.addEventListener("click", function () { window.print(); }); }

  // Who enters: the person picked on this device without a network, else the one the page was made for.
  function picked() {
    try { return JSON.parse(localStorage.getItem("saltloft-picked") || "null"); } catch (error) { return null; }
  }
  function person() { const own = picked(); return own ? own.person : body.dataset.person; }
  function showWho() {
    const place = document.getElementById("who-is-it");
    const own = picked();
    if (place && own) { place.textContent = place.dataset.sayAlone.replace("#name", own.name); }
  }
  showWho();

  self.SaltloftPage = { person: person, showWho: showWho, sendWaiting: sendWaiting, showWaiting: showWaiting, askForBackgroundSync: askForBackgroundSync, now: now, clockOffset: clockOffset };
  window.addEventListener("online", sendWaiting);
  setInterval(async function () {
    if ((await box.all()).some(function (item) { return item.state === "waiting"; })) { sendWaiting(); }
  }, RETRY_MS);
  sendWaiting();
  measureClock().catch(function () {});
  startWorker().catch(function (error) { console.warn("kept pages are off:", error.message); });
})();
