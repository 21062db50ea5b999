// Keeps the entry pages, so that they open without a network, also after the
// browser was closed. Everything else is asked of the house each time.
"use strict";
importScripts("/static/outbox.js");

const SHELL = "shell-" + self.SALTLOFT.version;
const PAGES = "pages";
const PATIENCE_MS = 5000;

self.addEventListener("install", function (event) {
  event.waitUntil(
    caches.open(SHELL)
      .then(function (cache) { return cache.addAll(self.SALTLOFT.files); })
      .then(function () { return self.skipWaiting(); })
  );
});

self.addEventListener("activate", function (event) {
  event.waitUntil((async function () {
    for (const name of await caches.keys()) {
      if (name !== SHELL && name !== PAGES) { await caches.delete(name); }
    }
    await self.clients.claim();
  })());
});

self.addEventListener("fetch", function (event) {
  const request = event.request;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin) { return; }
  if (url.pathname.startsWith("/static/")) {
    event.respondWith(caches.match(request, { ignoreSearch: false }).then(function (kept) { return kept || fromNetwork(request); }));
  } else if (request.mode === "navigate") {
    event.respondWith(page(request, url));
  }
});

self.addEventListener("message", function (event) {
  const wish = event.data || {};
  if (wish.keep) { event.waitUntil(Promise.all(wish.keep.map(keep))); }
  if (wish.forget) { event.waitUntil(caches.delete(PAGES)); }
});

self.addEventListener("sync", function (event) {
  if (event.tag === "outbox") { event.waitUntil(self.SaltloftOutbox.send()); }
});

async function fromNetwork(request) {
  try {
    return await fetch(request);
  } catch (error) {
    return (await caches.match(request, { ignoreSearch: true })) || Response.error();
  }
}

function kept(url) {
  return caches.open(PAGES).then(function (cache) { return cache.match(url.pathname, { ignoreSearch: true }); });
}

async function page(request, url) {
  const known = await kept(url);
  const patience = new AbortController();
  // With a kept page at hand a slow network counts as none.
  const timer = known ? setTimeout(function () { patience.abort(); }, PATIENCE_MS) : 0;
  try {
    const answer = await fetch(request, { signal: patience.signal });
    await remember(url, answer);
    return answer;
  } catch (error) {
    return known || (await caches.match("/offline")) || Response.error();
  } finally {
    clearTimeout(timer);
  }
}

async function remember(url, answer) {
  if (answer.ok && !answer.redirected && answer.headers.get("X-Saltloft-Keep") === "1") {
    await (await caches.open(PAGES)).put(url.pathname, answer.clone());
  }
}

async function keep(path) {
  try {
    const answer = await fetch(path, { credentials: "same-origin" });
    await remember(new URL(path, self.location.origin), answer);
  } catch (error) {
    // No network just now: what was kept before stays.
  }
}
