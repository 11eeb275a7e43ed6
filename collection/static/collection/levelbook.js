"use strict";

// Pages work without this file. It fetches the other scripts, says "busy" on a slow form, keeps a double tap from
// sending twice, lets the theme be chosen, and opens the print dialog.
(() => {
  const root = document.documentElement;

  // A deferred script runs once the sheet is here. So until then the sheet has a slow line to itself.
  for (const address of document.currentScript.dataset.then.split(" ")) {
    const script = document.createElement("script");
    script.src = address;
    script.async = false; // in this order
    document.head.append(script);
  }

  const sent = new Set();

  document.addEventListener("submit", (event) => {
    if (event.defaultPrevented) return; // htmx sends it and marks it busy itself
    const form = event.target;
    if (sent.has(form)) {
      event.preventDefault();
      return;
    }
    sent.add(form);
    const button = event.submitter ?? form.querySelector("[type=submit]");
    button?.classList.add("is-busy");
    button?.setAttribute("aria-busy", "true");
  });

  // An error page is no piece of this one: what stands here stays. A form that was refused (409, 422) is one.
  document.addEventListener("htmx:before:response", (event) => {
    const { status } = event.detail.ctx.response;
    if (status >= 400 && ![409, 422].includes(status)) event.preventDefault();
  });

  // The browser may bring the page back as it was left.
  window.addEventListener("pageshow", () => {
    sent.clear();
    for (const button of document.querySelectorAll(".is-busy")) {
      button.classList.remove("is-busy");
      button.removeAttribute("aria-busy");
    }
  });

  const themes = { "": "as the device", light: "light", dark: "dark" };

  function showTheme(button) {
    button.textContent = `Colours: ${themes[root.dataset.theme ?? ""]}`;
    button.hidden = false;
  }

  for (const button of document.querySelectorAll("[data-theme-button]")) {
    showTheme(button);
    button.addEventListener("click", () => {
      const names = Object.keys(themes);
      const next = names[(names.indexOf(root.dataset.theme ?? "") + 1) % names.length];
      if (next) root.dataset.theme = next;
      else delete root.dataset.theme;
      const secure = location.protocol === "https:" ? "; secure" : "";
      document.cookie = `theme=${next}; path=/; max-age=${next ? 31536000 : 0}; samesite=lax${secure}`;
      showTheme(button);
    });
  }

  for (const button of document.querySelectorAll("[data-print-button]")) {
    button.hidden = false;
    button.addEventListener("click", () => window.print());
  }

  requestAnimationFrame(() => requestAnimationFrame(() => root.classList.add("is-ready")));
})();
