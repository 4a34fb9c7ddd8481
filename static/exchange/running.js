/* Shows how far an import is, again every two seconds, and then what came of it. Without it there is a link. */

const EVERY = 2000; // ms
/** @type {HTMLElement} */
const part = document.querySelector("[data-progress]");

async function look() {
  if (document.visibilityState !== "visible") return;
  try {
    const answer = await fetch(part.dataset.progress, { redirect: "error", cache: "no-store" });
    if (answer.ok) show(await answer.text());
  } catch { /* no signal: what stands there is what was known last */ }
}

function show(html) {
  const fresh = new DOMParser().parseFromString(html, "text/html").body;
  if (fresh.querySelector("[data-over]")) return location.reload();
  if (fresh.innerHTML !== part.innerHTML) part.replaceChildren(...fresh.children);
}

setInterval(look, EVERY);
document.addEventListener("visibilitychange", look);
