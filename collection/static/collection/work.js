"use strict";

// A leg plan under the machine: one step at a time, ticked by a large button or the space bar, turns corrected in one
// tap. Without this file the page is a plain list with check boxes and forms. All steps are in the page, so it goes on
// without network; what was ticked is kept for this tab, by plan, until the record holds it.
(() => {
  const work = document.querySelector("[data-work]");
  if (!work) return;
  const steps = [...work.querySelectorAll("[data-step]")];
  const [back, next, finish, where] = ["back", "next", "finish", "where"].map((name) => work.querySelector(`[data-${name}]`));
  const slot = `levelbook-work-${work.dataset.work}`;
  const memory = recall();
  // The buttons of two steps stand in the same place, and the last "Done, next" stands where "Record this lift" comes.
  // So a double tap, or a knee that drums on the space bar, must not press what nobody has seen yet: for this long
  // after a step appeared, a press is not meant for it. The press tells itself when it was made, however late it is heard.
  const UNSEEN_MS = 500;
  let current = 0;
  let appeared_ms = 0;

  function recall() {
    try {
      return { ticks: [], turns: {}, at: "", ...JSON.parse(sessionStorage.getItem(slot) ?? "{}") };
    } catch {
      return { ticks: [], turns: {}, at: "" }; // nothing may be stored here; the page works all the same
    }
  }

  function remember() {
    try {
      sessionStorage.setItem(slot, JSON.stringify(memory));
    } catch {
      // as above
    }
  }

  // --- steps -------------------------------------------------------------------------------

  const titleOf = (step) => step.querySelector("[data-title]");
  const tickOf = (step) => step.querySelector("[data-tick]");
  /** The form that a step must send before the work goes on; none if it waits on this device to be sent (keep.js). */
  function recordOf(step) {
    const form = step.dataset.record && document.getElementById(step.dataset.record);
    return form && !form.inert ? form : null;
  }

  const isTooSoon = (press) => press.timeStamp - appeared_ms < UNSEEN_MS;

  function showButtons() {
    const form = recordOf(steps[current]);
    const isLast = current === steps.length - 1;
    next.textContent = form ? "Record this lift" : "Done, next";
    next.type = form ? "submit" : "button";
    if (form) next.setAttribute("form", form.id);
    else next.removeAttribute("form");
    next.hidden = isLast;
    finish.hidden = !isLast;
    back.disabled = current === 0;
  }

  function show(place, { focus = false } = {}) {
    current = Math.max(0, Math.min(place, steps.length - 1));
    const step = steps[current];
    const inside = steps.some((each) => each !== step && each.contains(document.activeElement));
    for (const each of steps) each.hidden = each !== step;
    const title = titleOf(step);
    const told = document.createElement("span");
    told.className = "unseen";
    told.textContent = `: ${title.textContent}`;
    where.replaceChildren([`Step ${current + 1} of ${steps.length}`, step.dataset.part].filter(Boolean).join(" · "), told);
    showButtons();
    memory.at = step.id;
    remember();
    if (focus || inside) title.focus({ preventScroll: true });
    window.scrollTo(0, 0);
    appeared_ms = performance.now();
    document.dispatchEvent(new CustomEvent("work:step", { detail: { words: step.dataset.say } }));
  }

  function tick(step, done) {
    const box = tickOf(step);
    if (box && !box.disabled) box.checked = done;
    memory.ticks = memory.ticks.filter((id) => id !== step.id);
    if (done) memory.ticks.push(step.id);
    remember();
  }

  function onward() {
    if (recordOf(steps[current])) return; // recording is a deed of its own: the button sends the form
    tick(steps[current], true);
    show(current + 1);
  }

  next.addEventListener("click", (event) => {
    const isForRecord = recordOf(steps[current]) !== null;
    if (isForRecord && !isTooSoon(event)) return;
    event.preventDefault(); // also where the button is about to become the one that sends: this press must not send yet
    if (!isForRecord && !isTooSoon(event)) onward();
  });
  finish.addEventListener("click", (event) => isTooSoon(event) && event.preventDefault());
  back.addEventListener("click", () => show(current - 1));
  // A tool that was tapped (detail counts taps, a key makes none) must not keep the space bar, which goes on. Who comes
  // to it by key stays on it.
  for (const tool of work.querySelectorAll("[data-back], [data-aloud], [data-again]")) {
    tool.addEventListener("click", ({ detail }) => detail && titleOf(steps[current]).focus({ preventScroll: true }));
  }
  for (const step of steps) tickOf(step)?.addEventListener("change", (event) => tick(step, event.target.checked));
  for (const box of work.querySelectorAll("[data-memo]")) {
    box.checked = memory.ticks.includes(box.dataset.memo);
    box.addEventListener("change", () => {
      memory.ticks = memory.ticks.filter((id) => id !== box.dataset.memo);
      if (box.checked) memory.ticks.push(box.dataset.memo);
      remember();
    });
  }

  /** By key: pressed once more, and not in the same breath, it records. */
  function toTheRecord() {
    next.focus();
    appeared_ms = performance.now();
  }

  document.addEventListener("keydown", (event) => {
    if (event.altKey || event.ctrlKey || event.metaKey || event.shiftKey) return;
    const forward = [" ", "Enter", "ArrowRight"].includes(event.key);
    if (!forward && event.key !== "ArrowLeft") return;
    const own = event.key.startsWith("Arrow") ? "input:not([type=checkbox]), textarea" : "a, button, input, textarea";
    if (event.target.closest(own)) return;
    event.preventDefault();
    if (event.repeat) return; // a key held down by a knee must not run through the plan
    if (!forward) show(current - 1);
    else if (isTooSoon(event)) return;
    else if (recordOf(steps[current])) toTheRecord();
    else if (!next.hidden) onward();
    else finish.focus();
  });

  // --- what was really turned -----------------------------------------------------------------

  const parts = { "1/2": "½", "1/3": "⅓", "2/3": "⅔", "1/4": "¼", "3/4": "¾", "1/6": "⅙", "5/6": "⅚", "1/8": "⅛", "3/8": "⅜", "5/8": "⅝", "7/8": "⅞" };

  function sizeOf(count, perTurn) {
    const [whole, left] = [Math.floor(count / perTurn), count % perTurn];
    let [top, bottom] = [left, perTurn];
    for (let by = bottom; by > 1; by -= 1) if (top % by === 0 && bottom % by === 0) [top, bottom] = [top / by, bottom / by];
    const words = whole || !left ? [String(whole)] : [];
    const typed = left ? [...words, `${top}/${bottom}`] : words;
    const shown = left ? [...words, parts[`${top}/${bottom}`] ?? `${top}/${bottom}`] : words;
    return { typed: typed.join(" "), shown: shown.join("\u00a0") };
  }

  function correct(leg, by) {
    const perTurn = Number(leg.dataset.perTurn);
    const planned = Math.round(Number(leg.dataset.turns) * perTurn);
    const way = planned < 0 ? -1 : 1;
    const most = 200 * perTurn; // as far as the record takes it
    const count = Math.max(-most, Math.min(most, planned + way * by));
    const size = sizeOf(Math.abs(count), perTurn);
    const many = Math.abs(count) > perTurn ? "turns" : "turn";
    leg.querySelector("[data-words]").textContent = count
      ? `${count > 0 ? "out" : "in"}\u00a0${size.shown}\u00a0${many}`
      : "not turned";
    const than = leg.querySelector("[data-than]");
    than.textContent = by
      ? planned ? `${sizeOf(Math.abs(by), perTurn).shown} ${by > 0 ? "more" : "less"} than planned` : "not planned"
      : "as planned";
    leg.classList.toggle("is-changed", by !== 0);
    leg.querySelector("[data-typed]").value = size.typed;
    leg.querySelector("[data-way]").value = count < 0 ? "in" : "out";
    leg.dataset.change = String(by);
  }

  for (const form of work.querySelectorAll(".work-record")) {
    const legs = [...form.querySelectorAll("[data-turned]")];
    const settle = () => {
      form.querySelector("[data-as-shown]").disabled = legs.some((leg) => Number(leg.dataset.change ?? 0));
    };
    form.hidden = false;
    new MutationObserver(showButtons).observe(form, { attributeFilter: ["inert"] });
    for (const leg of legs) {
      const name = leg.querySelector("[data-typed]").name;
      const id = `${form.id}-${name}`;
      correct(leg, memory.turns[id] ?? 0);
      leg.querySelector("[data-nudge]").hidden = false;
      for (const button of leg.querySelectorAll("[data-by]")) {
        button.addEventListener("click", () => {
          correct(leg, Number(leg.dataset.change) + Number(button.dataset.by));
          memory.turns[id] = Number(leg.dataset.change);
          remember();
          settle();
        });
      }
    }
    settle();
  }

  // A lift that was kept while nobody answered is in the record now: the page of before would ask for it again.
  document.addEventListener("kept:answer", ({ detail }) => {
    const isOurs = detail.is === "saved" && detail.where?.includes(work.dataset.work);
    const isHere = [...work.querySelectorAll("input[name=write_key]")].some((input) => input.value === detail.key);
    if (isOurs && !isHere) location.reload();
  });

  // --- the screen stays awake --------------------------------------------------------------------

  const awake = work.querySelector("[data-awake]");

  async function stayAwake() {
    if (document.visibilityState !== "visible") return;
    if (!navigator.wakeLock) {
      awake.textContent = "The screen may go dark: this browser cannot keep it on.";
      return;
    }
    try {
      const lock = await navigator.wakeLock.request("screen");
      awake.textContent = "The screen stays on.";
      lock.addEventListener("release", () => {
        awake.textContent = "The screen may go dark.";
      });
    } catch {
      awake.textContent = "The screen may go dark: the device keeps it from staying on.";
    }
  }

  document.addEventListener("visibilitychange", stayAwake);

  // --- begin ---------------------------------------------------------------------------------------

  document.documentElement.classList.add("at-work");
  for (const part of work.querySelectorAll("[data-for-list]")) part.hidden = true;
  work.querySelector("[data-foot]").hidden = false;
  where.hidden = false;
  for (const step of steps) {
    const box = tickOf(step);
    if (box && memory.ticks.includes(step.id)) box.checked = true;
  }
  const left = steps.findIndex((step) => step.id === memory.at);
  const first = steps.findLastIndex((step) => "done" in step.dataset) + 1;
  show(Math.max(left, first));
  stayAwake();
})();
