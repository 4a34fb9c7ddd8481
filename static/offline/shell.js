/* The one page that a phone keeps, at whatever address it opens: what was taken along, instead of what the service
   would show there, and that this page is not here where it is not. The outbox works in it as everywhere. */

import "../look/theme.js";
import { start } from "../outbox/outbox.js";
import { scannedFor } from "./arming.js";
import { blame, page, trace, wall } from "./checkview.js";
import { sessions } from "./package.js";
import { pullList } from "./pullview.js";
import { swap } from "./swapview.js";
import { home, item, nextForm, session, testForm, unknown } from "./views.js";

const here = new URL(location.href);
const HOME = [undefined, "offline", "scan", "find", "sessions", "line-checks"]; // first parts of addresses that all that is here answers

/* The person who was signed in last; the service checks it when something is sent. */
async function whoIsHere() {
  let known = null;
  try { known = JSON.parse(localStorage.getItem("coilbook.me")); } catch { /* the package knows too */ }
  known ??= (await sessions().catch(() => []))[0]?.who ?? null;
  if (!known) return;
  document.body.dataset.who = known.id;
  document.body.dataset.name = known.name;
  document.querySelector("[data-me]").textContent = known.name;
}

async function route() {
  const parts = here.pathname.split("/").filter(Boolean), query = here.searchParams;
  const [first, second, third] = parts;
  if (first === "sessions" && second) return third === "next" ? nextForm(second, query.get("after")) : session(second);
  if (first === "swap" && !second) return swap(query);
  if (first === "line-checks" && second) return third === "blame" ? blame(second) : third ? trace(second, parts[3], query.get("out")) : wall(second);
  if (first === "cards" || first === "inputs") return page(here.pathname, second ? "" : first);
  if (first === "pull") return pullList(second, third === "items" ? parts[3] : null);
  const typed = first === "find" ? query.get("code") : null;
  if (typed || (first?.toLowerCase() === "t" && second)) {
    const code = (typed ?? second).toUpperCase().replace(/[^0-9A-Z]/g, "");
    // By its code, or opened from outside by its tag's address: somebody has scanned it.
    if (!third) return (await pullList(query.get("pull"), code, true)) || item(code, Boolean(typed) || !document.referrer);
    if (third === "test") return testForm(code, query.get("session"), scannedFor());
  }
  return HOME.includes(first) ? home() : unknown("This page is not on this phone, and there is no signal to load it.");
}

await whoIsHere();
await route();
start();
