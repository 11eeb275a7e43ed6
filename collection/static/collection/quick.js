"use strict";

// The quick answer works without this file. It copies the link, and names the unit that the level shows.
(() => {
  const form = document.querySelector("#quick-form");

  document.addEventListener("click", async (event) => {
    const button = event.target.closest("[data-copy]");
    if (!button) return;
    const address = new URL(button.dataset.copy, location.href).href;
    try {
      await navigator.clipboard.writeText(address);
      button.textContent = "Copied";
    } catch {
      button.textContent = "Not allowed here: copy the address above";
    }
  });

  form.addEventListener("change", ({ target }) => {
    if (target.name !== "shows") return;
    for (const name of ["pitch", "roll"]) {
      document.querySelector(`#id_${name}_unit`).textContent = target.value === "deg" ? "degrees" : "mm/m";
    }
  });
})();
