// Says that a chosen file is too large before minutes are spent on sending it; the service refuses it, too.
/** @type {HTMLInputElement} */
const input = document.querySelector("[data-most]");

input.addEventListener("change", () => {
  const size = input.files[0]?.size ?? 0;
  const most = Number(input.dataset.most);
  input.setCustomValidity(size > most
    ? `This file has ${(size / 1e6).toFixed(1)} MB; ${most / 1e6} MB are the most. Cut it in two, or leave columns out.`
    : "");
  input.reportValidity();
});
