"use strict";

// Chooses the browser's own time zone where a page asks for one. Without this file it stays UTC, or what people choose.
(() => {
  const own = Intl.DateTimeFormat().resolvedOptions().timeZone;
  for (const select of document.querySelectorAll("select[data-own-zone]")) {
    const known = [...select.options].some((option) => option.value === own);
    if (known && select.value === "UTC") select.value = own;
  }
})();
