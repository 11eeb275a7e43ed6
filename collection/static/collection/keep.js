"use strict";

// <form data-keep="survey of Lantern Reef">: what is typed into it is a draft on this device, found again after a
// reload; sent off, it waits there until the server has it (keep_store.js holds it, keep_outbox.js sends it).
//
//   data-keep         what it is, in words that go on after "your unsent …"
//   id                tells two such forms apart that are sent to one address
//   data-keep-typed   set by the server when the page comes back with what was typed: nothing older goes over it
//   data-keep-draw    name of the button that saves nothing and shows the form as it was sent: brings added rows back
//
// Each tab has a write of its own: a reload brings its draft back, another tab is only offered it once it is open in
// none. A button with a name ("Add a reading") is left to the page. The event "kept:waits" on a form tells a page that
// it may go on. Where the device keeps nothing, the browser sends the form once someone answers; without this script,
// as ever.
(() => {
  const [JUST_NOW_MS, SAVE_AFTER_MS] = [600_000, 400];
  const ANSWERS_WITHIN_MS = 5_000;
  const NOTHING_KEPT = "what you type is lost if the page closes before it is saved.";
  const keepers = new Map();

  class Keeper {
    constructor(form) {
      this.form = form;
      const to = new URL(form.getAttribute("action") || location.href, location.href);
      this.action = to.pathname + to.search;
      this.address = `${this.action} ${form.id}`;
      this.page = location.pathname + location.search;
      this.isSending = false;
      this.asShown = JSON.stringify(kept.fieldsOf(form));
      keepers.set(form, this);
      kept.forms.add(this.address);
      form.addEventListener("input", () => this.typed());
      form.addEventListener("change", () => this.typed());
    }

    get key() {
      return this.form.elements.write_key.value;
    }

    /** Begin with what this tab had here, or with an offer of what another one left. */
    async start() {
      if (!kept.isAble()) return this.say("after", `This browser keeps nothing on the device: ${NOTHING_KEPT}`);
      const item = kept.get(kept.own(this.address));
      if (this.form.hasAttribute("data-keep-typed")) return this.goOn(item);
      if (item && item.state !== "waiting" && (await this.take(item.key))) return this.bringBack(item);
      kept.own(this.address, "");
      if (this.isTouched()) this.typed();
      await this.offer();
    }

    /** Whether someone typed before this script was here. */
    isTouched() {
      return [...this.form.querySelectorAll("input, textarea")].some(
        (each) => each.value !== each.defaultValue || each.checked !== each.defaultChecked,
      );
    }

    /** Have an item in this tab alone; false if another tab has it. */
    async take(key) {
      const release = await kept.claim(key);
      if (!release) return false;
      this.letGo();
      this.release = release;
      return true;
    }

    letGo() {
      this.release?.();
      this.release = null;
    }

    /** The page came back from the server with what was typed: go on with that. */
    goOn(before) {
      if (!before || before.state === "waiting") return;
      if (before.key !== this.key) kept.drop(before.key); // its page got a fresh key
      this.typed_at = before.typed_at;
      this.isOfBefore = true;
      this.save();
    }

    /** Offer what was typed into this form and is open in no tab. */
    async offer() {
      for (const item of kept.mine().reverse()) {
        if (item.address !== this.address || item.state === "waiting" || (await kept.isClaimed(item.key))) continue;
        const back = kept.button("Bring it back", "quiet", async () => {
          if (await this.take(item.key)) this.bringBack(item);
          else this.say("before", "It is open in another tab.");
        });
        const words = `Kept on this device since ${kept.clock(item.changed_at)}: your unsent ${item.title}.`;
        return this.say("before", words, back, kept.throwAway(item, () => this.hush()));
      }
    }

    async bringBack(item) {
      const since = kept.clock(item.changed_at);
      const has = new Set([...this.form.elements].map((input) => input.name));
      // What was answered about another person's edit is asked again once this is sent.
      if (item.fields.every(([name]) => has.has(name) || name.startsWith("merge-"))) {
        kept.fill(this.form, item.fields);
      } else if (!(await kept.draw(this.form, item))) {
        const again = kept.button("Try again", "quiet", () => this.bringBack(item));
        const words = `Kept on this device since ${since}: your unsent ${item.title}. Its rows could not be fetched.`;
        return this.say("before", words, again);
      }
      this.form.elements.write_key.value = item.key;
      this.typed_at = item.typed_at;
      this.isTyped = this.isOfBefore = true;
      this.hold(item.key);
      outbox.show();
      const afresh = kept.button("Start afresh", "plain", () => this.startAfresh());
      this.say("before", `Here again, as of ${since}: your unsent ${item.title}.`, afresh);
      this.isQuiet = true;
      this.form.dispatchEvent(new Event("input", { bubbles: true })); // the live answer follows
      this.isQuiet = false;
      if (item.state === "refused") this.send(); // the server's page says what is wrong, beside each field
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

    /** Keep what the form holds now; false if the device cannot. */
    save(state = "draft") {
      clearTimeout(this.timer);
      const { address, page, action, key } = this;
      const now = new Date().toISOString();
      const fields = kept.fieldsOf(this.form);
      const before = kept.get(key);
      const isSame = JSON.stringify(before?.fields) === JSON.stringify(fields);
      if (state === "waiting") this.typed_at ??= now;
      if (!this.release) this.take(key);
      this.hold(key);
      const isKept = kept.put({
        key, state, address, page, action, fields, member: kept.member, typed_at: this.typed_at,
        title: this.form.dataset.keep || document.title.split(" · ")[0],
        changed_at: isSame ? before.changed_at : now,
      });
      if (!isKept) this.say("after", `There is no room left on this device: ${NOTHING_KEPT}`);
      return isKept;
    }

    /** This page has it: its line stands beside the form, and a reload finds it. */
    hold(key) {
      kept.open.add(key);
      kept.own(this.address, key);
    }

    saveSoon() {
      if (this.isTyped && !this.isSending && !this.form.inert) this.save();
    }

    /** Whether anything in it is a person's: typed here, or in the page of before. */
    isSomeones() {
      return this.isTyped || this.isOfBefore || JSON.stringify(kept.fieldsOf(this.form)) !== this.asShown;
    }

    /** Send it off. */
    send(button) {
      this.button = button ?? this.form.querySelector("[type=submit]:not([name])");
      clearTimeout(this.timer); // or it would speak over what became of the sending
      this.busy(true);
      if (!kept.isAble() || !this.save("waiting")) return this.sendUnkept();
      outbox.flush({ now: true, withToken: this.form.elements.csrfmiddlewaretoken.value });
    }

    /** The device keeps nothing, so the browser sends it; but its own error page, or a sign-in, would be the end of it. */
    async sendUnkept() {
      const who = await outbox.ask(ANSWERS_WITHIN_MS);
      if (who?.member === kept.member) return this.letBrowserSend(who.token);
      this.busy(false);
      const why = who ? "your sign-in has run out" : "no connection";
      const first = who ? "Leave this page open, sign in in another tab" : "Leave this page open";
      this.say("after", `Not sent: ${why}, and this browser keeps nothing on the device. ${first} and press Save again.`);
    }

    letBrowserSend(token) {
      this.form.elements.csrfmiddlewaretoken.value = token;
      HTMLFormElement.prototype.submit.call(this.form);
    }

    busy(isBusy) {
      this.isSending = isBusy;
      this.button?.classList.toggle("is-busy", isBusy);
      this.button?.setAttribute("aria-busy", String(isBusy));
    }

    /** What became of it. */
    answered({ is, where }) {
      this.busy(false);
      if (is === "saved") return this.leaveFor(where);
      if (is === "refused") return this.showRefusal();
      this.form.inert = true;
      this.form.classList.add("is-kept");
      this.form.dispatchEvent(new CustomEvent("kept:waits", { bubbles: true }));
      const change = kept.button("Change it", "plain", () => {
        this.change();
        this.form.querySelector("input:not([type=hidden]), select, textarea")?.focus();
      });
      if (is === "signed out") this.say("after", `Not sent yet. ${outbox.SIGNED_OUT}`, outbox.signInLink(), change);
      else this.say("after", `Not sent yet. ${outbox.NO_ANSWER}`, change);
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

    /** Nothing was saved. The browser sends it as without script, so that the page says what is wrong at each field. */
    showRefusal() {
      if (Date.now() - Date.parse(this.typed_at) < JUST_NOW_MS) this.typed_at = undefined; // as of the next time
      if (this.isSomeones()) this.change();
      else this.forget();
      this.isTyped = false;
      this.letBrowserSend(outbox.token());
    }

    /** Nothing was typed into it: there is nothing to be found again. */
    forget() {
      kept.own(this.address, "");
      kept.drop(this.key);
    }

    /** Make a draft of it again. */
    change() {
      this.unfreeze();
      this.save();
    }

    unfreeze() {
      this.busy(false);
      this.form.inert = false;
      this.form.classList.remove("is-kept");
      this.hush();
    }

    say(where, words, ...buttons) {
      this.hush();
      this.line = kept.notice(words, buttons);
      this.form[where](this.line);
    }

    hush() {
      this.line?.remove();
    }
  }

  // Before levelbook.js looks: what is sent here needs no other guard against a double tap.
  document.addEventListener("submit", (event) => {
    const keeper = keepers.get(event.target);
    // Of a piece that came a blink ago: htmx has not taken hold of its button yet, and a page of its own is not meant.
    if (keeper && window.htmx && event.submitter?.hasAttribute("hx-post")) return event.preventDefault();
    if (!keeper || event.submitter?.name) return;
    event.preventDefault();
    if (!keeper.isSending) keeper.send(event.submitter);
  }, true);

  document.addEventListener("kept:answer", ({ detail }) => {
    const asked = [...keepers.values()].find((each) => each.key === detail.key && (each.isSending || each.form.inert));
    asked?.answered(detail);
  });

  // What was typed while a row was on its way is newer than what the server sends back.
  document.addEventListener("htmx:before:swap", ({ detail: { ctx, tasks } }) => {
    if (!keepers.has(ctx.target?.closest("form"))) return;
    for (const { fragment } of tasks) kept.carry(ctx.target, fragment);
  });

  const saveAll = () => keepers.forEach((keeper) => keeper.saveSoon());
  document.addEventListener("htmx:after:settle", saveAll); // a row was added
  document.addEventListener("visibilitychange", () => document.visibilityState === "hidden" && saveAll());
  window.addEventListener("pagehide", () => {
    saveAll();
    keepers.forEach((keeper) => keeper.letGo());
  });
  window.addEventListener("pageshow", (event) => {
    if (event.persisted) keepers.forEach((keeper) => keeper.unfreeze());
  });

  if (kept.member) document.querySelectorAll("form[data-keep]").forEach((form) => new Keeper(form).start());
  outbox.begin();
})();
