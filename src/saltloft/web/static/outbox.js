// The outbox: entries kept on the device until the house has acknowledged them.
// Shared by the pages and the service worker. An entry leaves only when the
// server says 'stored' or 'already'; a refused one stays, with the reason.
(function (scope) {
  "use strict";
  const NAME = "saltloft";
  const STORE = "outbox";
  const AT_ONCE = 50;

  function open() {
    return new Promise(function (resolve, reject) {
      const request = indexedDB.open(NAME, 1);
      request.onupgradeneeded = function () {
        request.result.createObjectStore(STORE, { keyPath: "id" });
        request.result.createObjectStore("done", { keyPath: "key" });
      };
      request.onsuccess = function () { resolve(request.result); };
      request.onerror = function () { reject(request.error); };
    });
  }

  async function work(store, mode, act) {
    const database = await open();
    try {
      return await new Promise(function (resolve, reject) {
        const transaction = database.transaction(store, mode, { durability: "strict" });
        const request = act(transaction.objectStore(store));
        transaction.oncomplete = function () { resolve(request.result); };
        transaction.onabort = transaction.onerror = function () { reject(transaction.error); };
      });
    } finally {
      database.close();
    }
  }

  const all = function () { return work(STORE, "readonly", function (store) { return store.getAll(); }); };
  const put = function (item) { return work(STORE, "readwrite", function (store) { return store.put(item); }); };
  const drop = function (id) { return work(STORE, "readwrite", function (store) { return store.delete(id); }); };
  const get = function (id) { return work(STORE, "readonly", function (store) { return store.get(id); }); };
  const markDone = function (key) { return work("done", "readwrite", function (store) { return store.put({ key: key, at: Date.now() }); }); };

  async function doneKeys() {
    const rows = await work("done", "readonly", function (store) { return store.getAll(); });
    return new Set(rows.map(function (row) { return row.key; }));
  }

  // A time-ordered id (RFC 9562 version 7): resending the same entry is harmless.
  function newId() {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    let now = Date.now();
    for (let place = 5; place >= 0; place -= 1) {
      bytes[place] = now % 256;
      now = Math.floor(now / 256);
    }
    bytes[6] = (bytes[6] & 0x0f) | 0x70;
    bytes[8] = (bytes[8] & 0x3f) | 0x80;
    const hex = Array.from(bytes, function (byte) { return byte.toString(16).padStart(2, "0"); }).join("");
    return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
  }

  function wire(item) {
    return {
      id: item.id, kind: item.kind, subject: item.subject, happened_at: item.happened_at,
      payload: item.payload, person: item.person, seen: item.seen === undefined ? null : item.seen,
      offline: Boolean(item.late), clock_offset_ms: item.clock_offset_ms || 0,
    };
  }

  async function post(items) {
    const answer = await fetch("/api/v1/entries", {
      method: "POST",
      credentials: "same-origin",
      headers: { "Content-Type": "application/json", Accept: "application/json" },
      body: JSON.stringify({ phone_clock: new Date().toISOString(), entries: items.map(wire) }),
    });
    if (!answer.ok) {
      const error = new Error(String(answer.status));
      error.status = answer.status;
      throw error;
    }
    return (await answer.json()).entries;
  }

  async function settle(item, receipt) {
    if (receipt.status === "stored" || receipt.status === "already") {
      await drop(item.id);
    } else {
      await put(Object.assign({}, item, { state: receipt.status, words: receipt.words, allowed: receipt.allowed }));
    }
  }

  // An entry that found no network the first time, or was made long ago, came in late.
  const LATE_MS = 60000;
  async function sure(items) {
    for (const item of items) {
      const old = item.made_ms && Date.now() - item.made_ms > LATE_MS;
      if ((item.tried || old) && !item.late) { item.late = true; await put(item); }
      else if (!item.tried) { item.tried = true; await put(item); }
    }
    return items;
  }

  async function sendNow() {
    const receipts = new Map();
    const waiting = (await all()).filter(function (item) { return item.state === "waiting"; });
    for (let start = 0; start < waiting.length; start += AT_ONCE) {
      const items = waiting.slice(start, start + AT_ONCE);
      const answers = await post(await sure(items));
      for (const receipt of answers) {
        const item = items.find(function (own) { return own.id === receipt.id; });
        if (item) {
          await settle(item, receipt);
          receipts.set(receipt.id, receipt);
        }
      }
    }
    return receipts;
  }

  // One sender at a time, over all pages and the worker.
  function send() {
    if (scope.navigator && scope.navigator.locks) {
      return scope.navigator.locks.request("saltloft-outbox", sendNow);
    }
    return sendNow();
  }

  async function add(item) {
    const whole = Object.assign({ id: newId(), state: "waiting", words: "", happened_at: new Date().toISOString(), made_ms: Date.now() }, item);
    await put(whole);
    return whole;
  }

  scope.SaltloftOutbox = {
    add: add, all: all, get: get, put: put, drop: drop, send: send, newId: newId, markDone: markDone, doneKeys: doneKeys,
  };
})(self);
