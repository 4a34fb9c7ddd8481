/* The paper page prints itself at a press, where there is script; without, the browser's own menu does. */

const button = document.querySelector("[data-print]");
button.hidden = false;
button.addEventListener("click", () => print());
