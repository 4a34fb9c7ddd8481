/* What every page of the crew does with the outbox: send, show what waits, remember who is here, and lose no form. */

import { news, start } from "./outbox.js";
import "./status.js";
import * as unsent from "./unsent.js";

const who = document.body.dataset;
// iOS is left out: an app put on its home screen has a storage of its own, so there would be two outboxes.
const ios = /iP(hone|ad|od)/.test(navigator.userAgent) || (navigator.platform === "MacIntel" && navigator.maxTouchPoints > 1);

if (!ios) document.head.append(Object.assign(document.createElement("link"), { rel: "manifest", href: "/manifest.webmanifest" }));
if (who.who) {
  try { localStorage.setItem("coilbook.me", JSON.stringify({ id: who.who, name: who.name })); } catch { /* asked again online */ }
}

// A page that shows what was just sent shows it as it is now, unless somebody is filling something in.
const shows = ({ shown, body }) => [`/t/${shown.code}`, `/T/${shown.code}`, `/sessions/${body.session}`].includes(location.pathname);
news.addEventListener("sent", ({ detail }) => {
  if (shows(detail.entry) && !document.activeElement?.matches("input, textarea, select")) location.reload();
});
start();
unsent.start();
