"use strict";

// Sends what waits on this device (see keep_store.js), one after the other in the order it was typed, and says on every
// page what is not sent yet. An item is dropped only when the server answers 201 with X-Kept; sent twice, its key makes
// it one write. collection/views/doors.py says what the server answers to such a sending.
const outbox = (() => {
  const TIMEOUT_MS = 15_000;
  const FIRST_PAUSE_MS = 5_000;
  const LONGEST_PAUSE_MS = 300_000;
  const NO_ANSWER = "Kept on this device; it is sent when the server answers again.";
  const SIGNED_OUT = "Your sign-in has run out. Kept on this device; it is sent when you sign in again.";
  const COMES_AGAIN = [408, 412, 425, 429]; // too slow, another person signed in, too early, too often
  let token = ""; // of a page or an answer of this visit, never stored
  let isSignedOut = false;
  let isSending = false;
  let pause_ms = FIRST_PAUSE_MS;
  let timer = 0;
  const sent = []; // what was saved from this page, to be told
  const words = kept.element("div", "wrap");
  words.setAttribute("role", "status");
  const bar = kept.element("aside", "kept-bar no-print", words);
  bar.setAttribute("aria-label", "Kept on this device");

  const patience = (most_ms = TIMEOUT_MS) => ({ credentials: "same-origin", signal: AbortSignal.timeout(most_ms) });

  /** Who is signed in now, and a fresh token; null if nobody answers. */
  async function ask(most_ms) {
    try {
      const answer = await fetch(document.body.dataset.acting, { ...patience(most_ms), cache: "no-store", redirect: "error" });
      return answer.ok ? await answer.json() : null;
    } catch {
      return null;
    }
  }

  /** Send one item and say what became of it: saved, waiting, signed out, forbidden or refused. */
  async function post(item) {
    const body = new URLSearchParams(item.fields);
    body.set("csrfmiddlewaretoken", token);
    const waited_s = Math.max(0, Math.floor((Date.now() - Date.parse(item.typed_at)) / 1000));
    const headers = { "X-Keep": item.member, "X-Keep-Waited": String(waited_s || 0) };
    try {
      const answer = await fetch(item.action, { ...patience(), method: "POST", body, headers, redirect: "manual" });
      const page = await answer.text(); // an answer counts once it was read to its end
      if (answer.status === 201 && answer.headers.has("X-Kept")) {
        return { is: "saved", where: answer.headers.get("Location") };
      }
      if (answer.status === 401) return { is: "signed out" };
      if (answer.status === 403) return { is: "forbidden" };
      const isRefusal = answer.status >= 400 && answer.status < 500 && !COMES_AGAIN.includes(answer.status);
      return isRefusal ? { is: "refused", why: reason(page) } : { is: "waiting" };
    } catch {
      return { is: "waiting" };
    }
  }

  /** What the page of a refusal says is wrong, in its own words. */
  function reason(html) {
    const page = new DOMParser().parseFromString(html, "text/html");
    const lines = [...page.querySelectorAll(".errors li")].slice(0, 3);
    const found = lines.length ? lines : [...page.querySelectorAll("main h1")];
    return found.map((line) => line.textContent.trim().replace(/\s+/g, " ")).join(" ");
  }

  /** Send an item; if the token was out of date, ask for a fresh one and send once more. */
  async function deliver(item) {
    const first = token ? await post(item) : { is: "forbidden" };
    if (first.is !== "forbidden") return first;
    const who = await ask();
    if (!who) return { is: "waiting" };
    if (who.member !== item.member) return { is: who.member ? "waiting" : "signed out" };
    token = who.token;
    const second = await post(item);
    return second.is === "forbidden" ? { is: "refused", why: "You may not change this." } : second;
  }

  /** Tell this page's forms what became of an item; the form may stand in another tab than the one that sent it. */
  const tell = (outcome) => document.dispatchEvent(new CustomEvent("kept:answer", { detail: outcome }));
  const tabs = window.BroadcastChannel ? new BroadcastChannel("kept") : null;
  tabs?.addEventListener("message", (event) => tell(event.data));

  async function deliverAll() {
    for (const { key } of kept.mine("waiting")) {
      const item = kept.get(key); // another tab may have sent it meanwhile
      if (item?.state !== "waiting") continue;
      const outcome = await deliver(item);
      isSignedOut = outcome.is === "signed out";
      if (outcome.is === "saved") {
        kept.drop(key);
        if (!kept.open.has(key)) sent.push({ title: item.title, where: outcome.where });
      } else if (outcome.is === "refused") {
        kept.put({ ...item, state: "refused", why: outcome.why });
      }
      tell({ key, ...outcome });
      tabs?.postMessage({ key, ...outcome });
      if (outcome.is === "waiting" || isSignedOut) {
        // What stands behind it waits too: a form that has just been sent off must be told.
        for (const { key: later } of kept.mine("waiting").filter((each) => each.key !== key)) {
          document.dispatchEvent(new CustomEvent("kept:answer", { detail: { key: later, is: outcome.is } }));
        }
        return false;
      }
    }
    return true;
  }

  /** Send all that waits. One tab at a time where the browser can say so. ``now``: wait for one's turn. */
  async function flush({ now = false, withToken = "" } = {}) {
    if (!kept.member || (isSending && !now)) return;
    token = withToken || token;
    isSending = true;
    show();
    let isDone = true;
    const run = async (lock) => {
      isDone = lock === null ? !kept.mine("waiting").length : await deliverAll();
    };
    try {
      await (navigator.locks ? navigator.locks.request("kept outbox", { ifAvailable: !now }, run) : run());
    } finally {
      isSending = false;
    }
    pause_ms = isDone ? FIRST_PAUSE_MS : Math.min(2 * pause_ms, LONGEST_PAUSE_MS);
    clearTimeout(timer);
    if (!isDone && !isSignedOut) timer = setTimeout(flush, pause_ms / 2);
    show();
  }

  function again() {
    if (document.visibilityState !== "visible" || !kept.mine("waiting").length) return;
    pause_ms = FIRST_PAUSE_MS;
    flush();
  }

  // --- what every page says about it ---

  function line(title, words, ...buttons) {
    const text = kept.element("p", "", kept.element("b", "", title), " ", words);
    return kept.element("div", "kept-row", text, kept.element("div", "kept-buttons", ...buttons));
  }

  function link(words, href) {
    const made = kept.element("a", "button quiet", words);
    made.href = href;
    return made;
  }

  function signInLink() {
    const here = document.querySelector("form[data-keep-typed]") ? "/" : location.pathname + location.search;
    return link("Sign in", `${document.body.dataset.login}?next=${encodeURIComponent(here)}`);
  }

  const forMany = (words, items) => (items.length > 1 ? words.replace("it is", "they are") : words);

  function waitingLine(items) {
    const titles = items.map((item) => item.title).join("; ");
    const count = items.length > 1 ? ` (${items.length})` : "";
    if (isSignedOut) {
      return line(`Not sent yet${count}:`, `${titles}. ${forMany(SIGNED_OUT, items)}`, signInLink());
    }
    const send = kept.button("Send now", "quiet", () => flush({ now: true }));
    send.classList.toggle("is-busy", isSending);
    return line(`Not sent yet${count}:`, `${titles}. ${forMany(NO_ANSWER, items)}`, send);
  }

  function refusedLine(item) {
    const look = link("See what is wrong", item.page);
    look.addEventListener("click", () => kept.own(item.address, item.key));
    const words = `${item.title}, from ${kept.clock(item.typed_at)}. ${item.why}`;
    return line("Not accepted:", words, look, kept.throwAway(item));
  }

  function draftLine(item) {
    const on = link("Go on", item.page);
    on.addEventListener("click", () => kept.own(item.address, item.key));
    const words = `${item.title}, from ${kept.clock(item.changed_at)}.`;
    return line("Begun, not sent:", words, on, kept.throwAway(item));
  }

  function sentLine({ title, where }) {
    return line("Sent:", `${title}.`, link("Open it", where));
  }

  function othersLine(count) {
    const whose = `the person who typed ${count > 1 ? "them" : "it"}`;
    return line("Not sent yet:", `${count} kept on this device. Sent when ${whose} signs in again.`);
  }

  function lines() {
    const isElsewhere = (item) => !kept.open.has(item.key);
    const waiting = kept.mine("waiting").filter((item) => !isSending || isElsewhere(item));
    const refused = kept.mine("refused").filter(isElsewhere);
    // What was only begun is told where nobody is at work and nothing more pressing waits.
    const begun = waiting.length || kept.forms.size ? [] : kept.mine("draft");
    const others = kept.member ? 0 : kept.countOfOthers();
    const found = [...refused.map(refusedLine), ...begun.slice(-2).map(draftLine), ...sent.map(sentLine)];
    if (others) found.unshift(othersLine(others));
    if (waiting.length) found.unshift(waitingLine(waiting));
    else if (isSignedOut) {
      found.unshift(line("Your sign-in has run out.", "What you typed is kept on this device.", signInLink()));
    }
    return found;
  }

  function show() {
    const found = lines();
    const key = found.map((row) => row.textContent).join("|") + isSending;
    if (bar.dataset.shows === key) return;
    bar.dataset.shows = key;
    const hadFocus = bar.contains(document.activeElement);
    if (!bar.isConnected && found.length) document.querySelector("body > header").before(bar);
    words.replaceChildren(...found);
    if (hadFocus) bar.querySelector("button, a")?.focus();
    bar.hidden = !found.length;
    bar.classList.toggle("is-pressing", kept.mine().some((item) => item.state !== "draft") || isSignedOut);
    document.documentElement.classList.toggle("has-kept-bar", bar.matches(".is-pressing"));
    for (const part of document.querySelectorAll("[data-if-unsent]")) part.hidden = !kept.mine().length;
  }

  document.addEventListener("kept:changed", show);
  document.addEventListener("visibilitychange", again);
  window.addEventListener("online", again);
  window.addEventListener("pageshow", (event) => event.persisted && again());
  document.addEventListener("htmx:before:response", (event) => {
    if (event.detail.ctx.response.status !== 401) return;
    isSignedOut = true;
    show();
  });

  /** Say what is here and send what waits; keep.js calls it once it has said which forms are here. */
  function begin() {
    show();
    again();
  }

  return { begin, ask, flush, show, signInLink, NO_ANSWER, SIGNED_OUT, token: () => token };
})();
