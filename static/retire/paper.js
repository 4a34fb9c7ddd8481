/* The print button of the paper page; without script the browser's own menu prints it. */

const button = document.querySelector("[data-print]");
button.hidden = false;
button.addEventListener("click", () => print());
