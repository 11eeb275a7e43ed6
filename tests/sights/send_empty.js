// Sends the form that leads to an address, with nothing right in it: no word, no choice, nonsense for numbers.
// A page without such a form sends nothing but its token.
({ address, nonsense }) => {
  const typed = (form) => [...form.elements].filter((field) => field.name && !["hidden", "submit"].includes(field.type));
  const leads = (form) => new URL(form.getAttribute("action") || location.href, location.href).pathname === address;
  const forms = [...document.querySelectorAll("main form[method=post]")].filter(leads);
  let form = forms.sort((one, other) => typed(other).length - typed(one).length)[0];
  if (!form || !typed(form).length) {
    const token = document.querySelector("[name=csrfmiddlewaretoken]");
    form = document.createElement("form");
    form.method = "post";
    form.action = address;
    if (token) form.append(token.cloneNode()); // a page for strangers has none
    document.body.append(form);
  }
  for (const field of typed(form)) {
    if (["checkbox", "radio"].includes(field.type)) field.checked = false;
    else if (field.localName === "select") field.selectedIndex = -1;
    else field.value = field.inputMode === "decimal" ? nonsense : "";
  }
  HTMLFormElement.prototype.submit.call(form);
}
