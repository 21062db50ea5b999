// Who works on this device now. With a network the form signs in by PIN; without
// one the name picked stands beside each entry, and the device's token lets it in.
(function () {
  "use strict";
  const form = document.getElementById("switch");
  if (!form) { return; }

  async function reached() {
    try {
      return (await fetch("/api/v1/clock", { credentials: "same-origin", cache: "no-store" })).ok;
    } catch (error) {
      return false;
    }
  }

  form.addEventListener("submit", async function (event) {
    event.preventDefault();
    const chosen = form.querySelector("input[name=person]:checked");
    if (await reached()) {
      localStorage.removeItem("saltloft-picked");
      form.submit();
      return;
    }
    const name = chosen.closest("label").querySelector("span").lastChild.textContent;
    localStorage.setItem("saltloft-picked", JSON.stringify({ person: chosen.value, name: name }));
    const said = document.createElement("p");
    said.textContent = form.dataset.sayAlone.replace("#name", name);
    const next = document.createElement("a");
    next.className = "button first";
    next.href = "/next";
    next.textContent = name;
    form.querySelector(".told").replaceChildren(said, next);
    self.SaltloftPage.showWho();
  });
})();
