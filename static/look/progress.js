/* Shows how a session or an import stands, again every so many seconds (`data-every`), as long as somebody looks; what
   is over has a page of its own. Without it there is a link. */

/** @type {HTMLElement} */
const part = document.querySelector("[data-progress]");
document.querySelector("[data-again]")?.remove();

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
  const open = [...part.querySelectorAll("details")].map((one) => one.open);
  fresh.querySelectorAll("details").forEach((one, at) => { one.open = open[at] ?? false; });
  if (fresh.innerHTML !== part.innerHTML && !part.contains(document.activeElement)) part.replaceChildren(...fresh.children);
}

setInterval(look, Number(part.dataset.every) * 1000);
document.addEventListener("visibilitychange", look);
