/* Shows how a session stands, again every ten seconds, as long as somebody looks. Without it there is a link. */

const EVERY = 10_000; // ms
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
  const open = [...part.querySelectorAll("details")].map((one) => one.open);
  fresh.querySelectorAll("details").forEach((one, at) => { one.open = open[at] ?? false; });
  if (fresh.innerHTML !== part.innerHTML && !part.contains(document.activeElement)) part.replaceChildren(...fresh.children);
}

setInterval(look, EVERY);
document.addEventListener("visibilitychange", look);
