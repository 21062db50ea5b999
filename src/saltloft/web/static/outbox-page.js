// The outbox page: what waits, what was not taken and why; mend it or put it away.
(function () {
  "use strict";
  const box = self.SaltloftOutbox;
  const list = document.getElementById("outbox-list");
  const empty = document.getElementById("outbox-empty");

  function act(word, todo) {
    const made = document.createElement("button");
    made.type = "button";
    made.className = "button";
    made.textContent = word;
    made.addEventListener("click", async function () { await todo(); show(await box.all()); self.SaltloftPage.showWaiting(); });
    return made;
  }

  function line(item) {
    const row = document.createElement("li");
    const head = document.createElement("b");
    const said = document.createElement("span");
    head.textContent = item.label;
    said.textContent = item.state === "waiting" ? list.dataset.sayWaiting : item.words;
    row.append(head, said);
    const buttons = document.createElement("div");
    buttons.className = "do";
    if (item.state === "ask") {
      buttons.append(act(list.dataset.sayKeep, async function () {
        await box.put(Object.assign({}, item, { state: "waiting", payload: Object.assign({}, item.payload, { kept: 1 }) }));
        await self.SaltloftPage.sendWaiting();
      }));
    }
    if (item.state !== "waiting") {
      const mend = document.createElement("a");
      mend.className = "button";
      mend.href = item.page || "/next";
      mend.textContent = list.dataset.sayMend;
      buttons.append(mend, act(list.dataset.sayPutAway, function () { return box.drop(item.id); }));
    }
    row.append(buttons);
    return row;
  }

  function show(items) {
    list.replaceChildren.apply(list, items.map(line));
    empty.hidden = items.length > 0;
  }

  document.addEventListener("saltloft:outbox", function (event) { show(event.detail); });
  document.getElementById("send-now").addEventListener("click", self.SaltloftPage.sendWaiting);
  box.all().then(show);
})();
