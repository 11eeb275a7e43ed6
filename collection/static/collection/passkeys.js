"use strict";

// <form data-passkey="get"> or "create": pressing its button asks the device for a passkey, or to make one; the answer
// goes into the field "credential" and the form is sent. The browser is asked what data-ask says, or what the form's
// address tells. webauthn-json.js, the account library's, turns that into bytes and back.
(() => {
  const SAID = {
    NotAllowedError: "Your device did not give a passkey: it was stopped, or took too long. Try again.",
    InvalidStateError: "This device holds a passkey for your account already.",
    SecurityError: "Passkeys work only where the address is a name with HTTPS, or localhost on this computer.",
    OverConstrainedError: "This key cannot sign in alone. Take the mark above away, then try again.",
    ConstraintError: "This key cannot sign in alone. Take the mark above away, then try again.",
  };
  const NOT_HERE = "This browser has no passkeys at this address.";
  const NO_ANSWER = "That did not work. Load the page again, then try once more.";

  async function asked(form) {
    if (form.dataset.ask) return JSON.parse(form.dataset.ask);
    const answer = await fetch(form.action, { headers: { Accept: "application/json" } });
    return (await answer.json()).request_options;
  }

  /** Ask for a passkey that signs in alone, or for one that is good after the password. */
  function alone(form, ask) {
    const wanted = form.elements.passwordless.checked;
    ask.publicKey.authenticatorSelection = {
      ...ask.publicKey.authenticatorSelection,
      residentKey: wanted ? "required" : "discouraged",
      requireResidentKey: wanted,
      ...(wanted && { userVerification: "required" }),
    };
    return ask;
  }

  async function answered(form) {
    const ask = await asked(form);
    return form.dataset.passkey === "create" ? webauthnJSON.create(alone(form, ask)) : webauthnJSON.get(ask);
  }

  function say(form, words) {
    const line = form.querySelector("[data-passkey-said]");
    line.textContent = words;
    line.hidden = !words;
  }

  for (const form of document.querySelectorAll("form[data-passkey]")) {
    const button = form.querySelector("[data-passkey-button]");
    const field = form.elements.credential;
    button.hidden = false;
    if (!webauthnJSON.supported()) {
      button.disabled = true;
      say(form, NOT_HERE);
      continue;
    }
    form.addEventListener("submit", async (event) => {
      if (field.value) return; // the answer is in it
      event.preventDefault();
      if (button.ariaBusy === "true") return;
      button.ariaBusy = "true";
      say(form, "");
      try {
        field.value = JSON.stringify(await answered(form));
        form.requestSubmit(button);
      } catch (error) {
        say(form, SAID[error.name] ?? NO_ANSWER);
      } finally {
        button.ariaBusy = null;
      }
    });
  }

  // Brought back by the browser, the page must not send an old answer again.
  window.addEventListener("pageshow", () => {
    for (const form of document.querySelectorAll("form[data-passkey]")) form.elements.credential.value = "";
  });
})();
