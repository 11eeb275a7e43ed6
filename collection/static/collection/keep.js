"use strict";

// <form data-keep="survey of Lantern Reef">: what is typed into it is a draft on this device, found again after a reload;
// sent off, it waits there until the server has it (keep_store.js holds it, keep_outbox.js sends it).
//
//   data-keep         what it is, in words that go on after "your unsent …"
//   id                tells two such forms apart that are sent to one address
//   data-keep-typed   set by the server when the page comes back with what was typed: nothing older is put over it
//   data-keep-draw    name of the button that saves nothing and shows the form again as it was sent: brings added rows back
//
// Each tab has a write of its own. A reload brings the tab's own draft back; another tab is only offered it, and not while
// a tab still has it open. A button with a name ("Add a reading") is left to the page. The script fills nothing in by
// itself and without it the form is sent as ever; so it is where the device can keep nothing.
(() => {
  const SAVE_AFTER_MS = 400;
  const CLOCK_MATTERS_MS = 600_000;
  const watched = new Map(); // form -> its keeper

  const fieldsOf = (form) => [...new FormData(form)].filter(([name, value]) => name !== "csrfmiddlewaretoken" && typeof value === "string");

  const isTick = (input) => input.type === "radio" || input.type === "checkbox";

  /** Put kept values into a form that has all their fields, and open what hides one of them. */
  function fill(form, fields) {
    for (const input of form.elements) {
      if (!input.name || input.name === "csrfmiddlewaretoken" || ["submit", "button", "file", "password"].includes(input.type)) continue;
      const values = fields.filter(([name]) => name === input.name).map(([, value]) => value);
      const was = isTick(input) ? input.checked : input.value;
      if (isTick(input)) input.checked = values.includes(input.value);
      else if (values.length) input.value = values[0];
      const isChanged = was !== (isTick(input) ? input.checked : input.value);
      if (isChanged && input.type !== "hidden") input.closest("details")?.setAttribute("open", "");
    }
  }

  class Keeper {
    constructor(form) {
      this.form = form;
      this.action = new URL(form.getAttribute("action") || location.href, location.href).pathname;
      this.address = `${this.action} ${form.id}`;
      this.page = location.pathname + location.search;
      this.line = null;
      this.isSending = false;
      watched.set(form, this);
      kept.forms.add(this.address);
      form.addEventListener("input", () => this.typed());
      form.addEventListener("change", () => this.typed());
    }

    get keyField() {
      return this.form.querySelector("input[name=write_key]");
    }

    get key() {
      return this.keyField.value;
    }

    /** Begin: with what this tab had here, or with an offer of what another one left. */
    async start() {
      if (!kept.isAble()) return this.say(this.form, "after", "This browser keeps nothing on the device: what you type is lost if the page closes before it is saved.");
      const item = kept.get(kept.own(this.address));
      if (this.form.hasAttribute("data-keep-typed")) return this.goOn(item);
      if (item && item.state !== "waiting" && (await this.take(item.key))) return this.bringBack(item);
      kept.own(this.address, "");
      await this.offer();
    }

    /** Have an item in this tab alone; false if another tab has it. */
    async take(key) {
      const release = await kept.claim(key);
      if (release) {
        this.release?.();
        this.release = release;
      }
      return release !== null;
    }

    /** The page came back from the server with what was typed: go on with that. */
    goOn(before) {
      if (!before || before.state === "waiting") return;
      if (before.key !== this.key) kept.drop(before.key); // its page got a fresh key
      this.typed_at = before.typed_at;
      this.save();
    }

    /** Offer what was typed into this form and is open in no tab. */
    async offer() {
      for (const item of kept.mine().reverse()) {
        if (item.address !== this.address || item.state === "waiting" || (await kept.isClaimed(item.key))) continue;
        const back = kept.button("Bring it back", "quiet", async () => {
          if (await this.take(item.key)) this.bringBack(item);
          else this.say(this.form, "before", "It is open in another tab.");
        });
        this.say(this.form, "before", `Kept on this device since ${kept.clock(item.changed_at)}: your unsent ${item.title}.`, back, kept.throwAway(item, () => this.hush()));
        return;
      }
    }

    async bringBack(item) {
      const has = new Set([...this.form.elements].map((input) => input.name));
      const isWhole = item.fields.every(([name]) => has.has(name));
      if (!isWhole && !(await this.draw(item))) return this.sayNotWhole(item);
      if (isWhole) fill(this.form, item.fields);
      this.keyField.value = item.key;
      this.typed_at = item.typed_at;
      kept.own(this.address, item.key);
      kept.open.add(item.key);
      this.isTyped = true;
      outbox.show();
      const afresh = kept.button("Start afresh", "plain", () => this.startAfresh());
      this.say(this.form, "before", `Here again, as of ${kept.clock(item.changed_at)}: your unsent ${item.title}.`, afresh);
      this.isQuiet = true;
      this.form.dispatchEvent(new Event("input", { bubbles: true })); // the live answer follows
      this.isQuiet = false;
      if (item.state === "refused") this.send(); // the server's page says what is wrong, beside each field
    }

    sayNotWhole(item) {
      const again = kept.button("Try again", "quiet", () => this.bringBack(item));
      this.say(this.form, "before", `Kept on this device since ${kept.clock(item.changed_at)}: your unsent ${item.title}. Its rows could not be fetched.`, again);
    }

    /** Let the server show the form as it was typed, with its added rows, and put that in this one's place. */
    async draw(item) {
      const token = this.form.elements.csrfmiddlewaretoken.value;
      const body = new URLSearchParams([...item.fields, [this.form.dataset.keepDraw, "1"], ["csrfmiddlewaretoken", token]]);
      try {
        const answer = await fetch(this.action, { method: "POST", body, redirect: "error", signal: AbortSignal.timeout(15_000) });
        const page = new DOMParser().parseFromString(await answer.text(), "text/html");
        const drawn = answer.ok && page.getElementById(this.form.id);
        if (!drawn || !this.form.dataset.keepDraw) return false;
        this.form.replaceChildren(...drawn.childNodes);
      } catch {
        return false;
      }
      window.htmx?.process(this.form);
      return true;
    }

    /** Leave this draft aside, to be offered again, and begin with an empty page. */
    startAfresh() {
      this.isTyped = false;
      kept.own(this.address, "");
      location.assign(this.page);
    }

    typed() {
      if (this.isSending || this.isQuiet || this.form.inert) return;
      this.isTyped = true;
      clearTimeout(this.timer);
      this.timer = setTimeout(() => this.save(), SAVE_AFTER_MS);
    }

    /** Keep what the form holds now. */
    save(state = "draft") {
      clearTimeout(this.timer);
      const { address, page, action, key } = this;
      const now = new Date().toISOString();
      const fields = fieldsOf(this.form);
      const before = kept.get(key);
      const isSame = JSON.stringify(before?.fields) === JSON.stringify(fields);
      if (state === "waiting") this.typed_at ??= now;
      const item = {
        key, state, address, page, action, fields, member: kept.member, title: this.form.dataset.keep,
        changed_at: isSame ? before.changed_at : now, typed_at: this.typed_at,
      };
      if (!this.release) this.take(key);
      kept.open.add(key);
      kept.own(address, key);
      const isKept = kept.put(item);
      if (!isKept) this.say(this.form, "after", "There is no room left on this device: what you type is lost if the page closes before it is saved.");
      return isKept;
    }

    /** Send it off; false means that the browser has to, since the device cannot keep it. */
    send(button) {
      if (!kept.isAble() || !this.save("waiting")) return false;
      this.isSending = true;
      this.button = button ?? this.form.querySelector("[type=submit]:not([name])");
      this.busy(true);
      outbox.flush({ now: true, withToken: this.form.elements.csrfmiddlewaretoken.value });
      return true;
    }

    /** What became of it. */
    answered({ is, where }) {
      this.busy(false);
      this.isSending = false;
      if (is === "saved") return this.leaveFor(where);
      if (is === "refused") return this.showRefusal();
      const change = kept.button("Change it", "plain", () => this.change());
      this.form.inert = true;
      this.form.classList.add("is-kept");
      if (is === "signed out") this.say(this.form, "after", "Not sent yet. Your sign-in has run out. Kept on this device; it is sent when you sign in again.", outbox.signInLink(), change);
      else this.say(this.form, "after", `Not sent yet. ${outbox.NO_CONNECTION}`, change);
    }

    leaveFor(where) {
      kept.own(this.address, "");
      this.isTyped = false;
      this.form.inert = true;
      const there = new URL(where, location.href);
      if (there.pathname + there.search !== location.pathname + location.search) return location.assign(there);
      // The same page in its new state: load it afresh and go to the part that is named.
      history.scrollRestoration = "manual";
      history.replaceState(null, "", there);
      location.reload();
    }

    /** Nothing was saved: let the browser send it as without script, so that the page says what is wrong at each field. */
    showRefusal() {
      if (Date.now() - Date.parse(this.typed_at) < CLOCK_MATTERS_MS) this.typed_at = undefined; // sent again, it is as of then
      this.unfreeze();
      this.save();
      this.isTyped = false;
      this.form.elements.csrfmiddlewaretoken.value = outbox.token();
      HTMLFormElement.prototype.submit.call(this.form);
    }

    change() {
      this.unfreeze();
      this.save();
      this.form.querySelector("input:not([type=hidden]), select, textarea")?.focus();
    }

    unfreeze() {
      this.form.inert = false;
      this.form.classList.remove("is-kept");
      this.hush();
    }

    busy(isBusy) {
      this.button?.classList.toggle("is-busy", isBusy);
      if (isBusy) this.button?.setAttribute("aria-busy", "true");
      else this.button?.removeAttribute("aria-busy");
    }

    say(beside, where, words, ...buttons) {
      this.hush();
      const text = kept.element("p", "", words);
      this.line = kept.element("div", "message kept-line", text, kept.element("div", "kept-buttons", ...buttons));
      this.line.setAttribute("role", "status");
      beside[where](this.line);
    }

    hush() {
      this.line?.remove();
      this.line = null;
    }
  }

  // Before levelbook.js looks at it: what is sent here needs no guard against a double tap.
  document.addEventListener("submit", (event) => {
    const keeper = watched.get(event.target);
    if (!keeper || event.submitter?.name) return;
    if (keeper.isSending || keeper.send(event.submitter)) event.preventDefault();
  }, true);

  document.addEventListener("kept:answer", (event) => {
    for (const keeper of watched.values()) {
      if (keeper.key === event.detail.key && (keeper.isSending || keeper.form.inert)) keeper.answered(event.detail);
    }
  });

  function saveNow() {
    for (const keeper of watched.values()) if (keeper.isTyped && !keeper.isSending && !keeper.form.inert) keeper.save();
  }

  // A row was added or taken away.
  document.addEventListener("htmx:afterSettle", saveNow);
  document.addEventListener("visibilitychange", () => document.visibilityState === "hidden" && saveNow());
  window.addEventListener("pagehide", () => {
    saveNow();
    for (const keeper of watched.values()) {
      keeper.release?.();
      keeper.release = undefined;
    }
  });
  window.addEventListener("pageshow", (event) => {
    if (!event.persisted) return;
    for (const keeper of watched.values()) {
      keeper.isSending = false;
      keeper.busy(false);
      keeper.unfreeze();
    }
  });

  for (const form of document.querySelectorAll("form[data-keep]")) if (kept.member) new Keeper(form).start();
})();
