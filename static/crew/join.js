// Moves a pass's secret from the address's fragment, where the camera put it, into the form.
const secret = location.hash.slice(1);
/** @type {HTMLInputElement} */
const box = document.querySelector("[data-pass]");
if (secret && box) {
  box.value = secret;
  history.replaceState(null, "", location.pathname + location.search);
  document.querySelector("[data-name]")?.focus();
}
