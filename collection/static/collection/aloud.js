"use strict";

// Reads the steps of a leg plan aloud, with the browser's own voice and the page's own words. No request leaves for it:
// a voice that lives on the device is taken where there is one.
(() => {
  const button = document.querySelector("[data-aloud]");
  if (!button) return;
  const again = document.querySelector("[data-again]");
  const note = document.querySelector("[data-aloud-words]");
  const engine = window.speechSynthesis;
  if (!engine || !window.SpeechSynthesisUtterance) return; // the page says that this browser cannot read aloud
  const slot = "levelbook-aloud";
  let on = false;
  let words = "";

  function tell(text) {
    note.textContent = text;
    note.hidden = !text;
  }

  function stop() {
    engine.cancel();
  }

  function say() {
    stop(); // one step at a time: what is left of the last one is not wanted any more
    const speech = new SpeechSynthesisUtterance(words);
    speech.lang = "en";
    speech.rate = 0.95;
    const voices = engine.getVoices().filter((voice) => voice.lang.startsWith("en"));
    const voice = voices.find((each) => each.localService) ?? voices[0];
    if (voice) speech.voice = voice;
    speech.addEventListener("start", () => tell(""));
    speech.addEventListener("error", ({ error }) => {
      if (["canceled", "interrupted"].includes(error)) return;
      if (error === "not-allowed") tell("Tap “Say it again”: the browser waits for a tap before it reads.");
      else tell("This browser’s voice does not answer. Read the steps on the screen.");
    });
    engine.speak(speech);
  }

  function turn(to) {
    on = to;
    button.textContent = `Read aloud: ${on ? "on" : "off"}`;
    again.hidden = !on;
    try {
      sessionStorage.setItem(slot, on ? "on" : "off");
    } catch {
      // remembered for this page only
    }
    tell("");
    if (on) say();
    else stop();
  }

  button.addEventListener("click", () => turn(!on));
  again.addEventListener("click", say);
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape") stop();
  });
  window.addEventListener("pagehide", stop);
  document.addEventListener("work:step", (event) => {
    words = event.detail.words;
    if (on) say();
  });

  button.hidden = false;
  tell("");
  words = document.querySelector("[data-step]:not([hidden])")?.dataset.say ?? "";
  try {
    if (sessionStorage.getItem(slot) === "on") turn(true);
  } catch {
    // starts silent
  }
})();
