"use strict";

// What someone typed stays on this device until the server says that it has it. This file holds it: one item for
// each write, under the write's own key, bound to the person and the organization it was typed for. keep.js fills it
// from forms, keep_outbox.js sends it. A CSRF token is never part of it.
//
// An item: key (the form's write_key), member (who typed it, and for which organization), state, title (in words, from
// data-keep), address (which form), page (where that form stands), action (where it is sent), fields ([name, value]
// pairs), changed_at, typed_at (when it was first sent off, UTC), why (what the server did not accept).
//
// States: draft (being typed) -> waiting (sent off, no answer yet) -> gone (the server has it) or refused (it must be
// looked at). Nothing else removes an item but a person's "Throw it away".
const kept = (() => {
  const member = document.body.dataset.member ?? "";
  const prefix = "kept/";
  const open = new Set(); // keys of what is typed in this page's forms
  const forms = new Set(); // addresses of this page's forms

  /** Whether this browser keeps anything: some forbid it, some have no room left. */
  function isAble() {
    try {
      localStorage.setItem("kept?", "1");
      localStorage.removeItem("kept?");
      return true;
    } catch {
      return false;
    }
  }

  function names() {
    try {
      return Object.keys(localStorage).filter((name) => name.startsWith(prefix));
    } catch {
      return [];
    }
  }

  function read(name) {
    try {
      return JSON.parse(localStorage.getItem(name));
    } catch {
      return null;
    }
  }

  const place = (key) => `${prefix}${member}/${key}`;

  function get(key) {
    return key && member ? read(place(key)) : null;
  }

  /** Keep an item; false means that the device could not. */
  function put(item) {
    try {
      localStorage.setItem(place(item.key), JSON.stringify(item));
    } catch {
      return false;
    }
    tell();
    return true;
  }

  function drop(key) {
    localStorage.removeItem(place(key));
    tell();
  }

  /** What this person has here for this organization, oldest first; in a state, if one is given. */
  function mine(state = null) {
    const items = names().filter((name) => member && name.startsWith(place(""))).map(read).filter(Boolean);
    const wanted = items.filter((item) => !state || item.state === state);
    return wanted.sort((a, b) => (a.typed_at ?? a.changed_at).localeCompare(b.typed_at ?? b.changed_at));
  }

  /** How much others, or this person for another organization, sent off from here without an answer. */
  function countOfOthers() {
    const theirs = names().filter((name) => !member || !name.startsWith(place("")));
    return theirs.map(read).filter((item) => item && item.state !== "draft").length;
  }

  /** Which item this tab has in a form: a reload finds it again, another tab does not see it. */
  function own(address, key) {
    try {
      if (key === undefined) return sessionStorage.getItem(`kept own ${address}`);
      if (key) sessionStorage.setItem(`kept own ${address}`, key);
      else sessionStorage.removeItem(`kept own ${address}`);
    } catch {
      // Then a reload offers the draft instead of bringing it back by itself.
    }
    return key;
  }

  /** Take an item for this tab: a function that lets it go, or null if another tab has it. */
  function claim(key) {
    if (!navigator.locks) return Promise.resolve(() => {}); // then only the tab's own memory tells tabs apart
    return new Promise((tell) => {
      const hold = () => new Promise((release) => tell(release));
      // A page that is being reloaded lets go of it a moment late.
      navigator.locks.request(`kept ${key}`, { signal: AbortSignal.timeout(500) }, hold).catch(() => tell(null));
    });
  }

  async function isClaimed(key) {
    const held = (await navigator.locks?.query())?.held ?? [];
    return held.some((lock) => lock.name === `kept ${key}`);
  }

  // --- what a form holds ---

  const TOKEN = "csrfmiddlewaretoken";
  const NOT_KEPT = ["submit", "button", "file", "password"];

  const fieldsOf = (form) =>
    [...new FormData(form)].filter(([name, value]) => name !== TOKEN && typeof value === "string");

  const isTick = (input) => input.type === "radio" || input.type === "checkbox";

  /** Put kept values into a form that has all their fields, and open what hides one of them. */
  function fill(form, fields) {
    for (const input of form.elements) {
      if (!input.name || input.name === TOKEN || NOT_KEPT.includes(input.type)) continue;
      const values = fields.filter(([name]) => name === input.name).map(([, value]) => value);
      const was = isTick(input) ? input.checked : input.value;
      if (isTick(input)) input.checked = values.includes(input.value);
      else if (values.length) input.value = values[0];
      const isChanged = was !== (isTick(input) ? input.checked : input.value);
      if (isChanged && input.type !== "hidden") input.closest("details")?.setAttribute("open", "");
    }
  }

  /** Put what a piece of the page holds now into the piece that comes in its place; what is new there stays as it came. */
  function carry(from, to) {
    const inputs = (piece) => [...piece.querySelectorAll("input:not([type=hidden]), select, textarea")];
    const nameOf = (input) => (isTick(input) ? `${input.name}=${input.value}` : input.name);
    const held = new Map(inputs(from).map((input) => [nameOf(input), input]));
    for (const input of inputs(to)) {
      const before = held.get(nameOf(input));
      if (before && isTick(input)) input.checked = before.checked;
      else if (before) input.value = before.value;
    }
    for (const part of to.querySelectorAll("[id] > details")) {
      if (from.querySelector(`#${part.parentElement.id} > details`)?.open) part.open = true;
    }
  }

  /** Let the server show a form as it was typed, with its added rows; false if it cannot now. */
  async function draw(form, item) {
    if (!form.dataset.keepDraw) return false;
    const more = [[form.dataset.keepDraw, "1"], [TOKEN, form.elements[TOKEN].value]];
    const body = new URLSearchParams([...item.fields, ...more]);
    const signal = AbortSignal.timeout(15_000);
    try {
      const answer = await fetch(item.action, { method: "POST", body, redirect: "error", signal });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const drawn = answer.ok && page.getElementById(form.id);
      if (!drawn) return false;
      form.replaceChildren(...drawn.childNodes);
    } catch {
      return false;
    }
    window.htmx?.process(form);
    return true;
  }

  // --- words and small parts for both other files ---

  function tell() {
    document.dispatchEvent(new CustomEvent("kept:changed"));
  }

  window.addEventListener("storage", (event) => {
    if (event.key === null || event.key.startsWith(prefix)) tell();
  });

  /** "14:05", with the day before it if that was not today. */
  function clock(iso) {
    const at = new Date(iso);
    const time = at.toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" });
    if (at.toDateString() === new Date().toDateString()) return time;
    return `${at.toLocaleDateString("en-GB", { weekday: "short", day: "numeric", month: "short" })}, ${time}`;
  }

  /** An element with words and classes: what both other files build their lines from. */
  function element(tag, className, ...parts) {
    const made = document.createElement(tag);
    if (className) made.className = className;
    made.append(...parts);
    return made;
  }

  function button(words, className, act) {
    const made = element("button", className, words);
    made.type = "button";
    made.addEventListener("click", () => act(made));
    return made;
  }

  /** A line that stands beside a form, with its buttons. */
  function notice(words, buttons) {
    const row = element("div", "kept-buttons", ...buttons);
    const made = element("div", "message kept-line", element("p", "", words), row);
    made.setAttribute("role", "status");
    return made;
  }

  /** A button that drops an item, after it was asked once more. */
  function throwAway(item, done) {
    return button("Throw it away", "plain", (pressed) => {
      if (pressed.dataset.sure) {
        drop(item.key);
        done?.();
      } else {
        pressed.dataset.sure = "yes";
        pressed.textContent = "Throw it away for good?";
      }
    });
  }

  return {
    member, open, forms, isAble, get, put, drop, mine, countOfOthers, own, claim, isClaimed,
    fieldsOf, fill, carry, draw, clock, element, button, notice, throwAway,
  };
})();
