/* Take a session along: its worklist, forms and tables, so that all of it works without a signal. */

import { span } from "../outbox/status.js";
import { session, take } from "./package.js";
import { install, possible } from "./worker.js";

const section = document.querySelector("[data-take]");
const told = section.querySelector("[data-told]"), button = section.querySelector("button");

function say(pack) {
  if (!pack) return;
  const tables = Object.keys(pack.wirings).length;
  told.textContent = `On this phone, loaded ${span(Date.now() - pack.loaded_at)} ago: ${pack.lines.length} items, and the faults of `
    + `${tables === 1 ? "their wiring" : `${tables} wirings`}. It works without a signal.`;
  button.textContent = "Take it along again";
}

if (possible) {
  say(await session(section.dataset.take).catch(() => null));
  button.addEventListener("click", async () => {
    button.disabled = true;
    told.textContent = "Loading…";
    try {
      await install();
      say(await take(section.dataset.take));
      await navigator.serviceWorker.ready;
    } catch (error) {
      told.textContent = `It could not be taken along: ${error.message}. Try again with a signal.`;
    }
    button.disabled = false;
  });
} else {
  button.hidden = true;
  told.textContent = "Working without a signal is not available here: this address is plain http, and phones keep pages only of "
    + "sites with https. With a signal every form works; a test that cannot be sent waits on this phone until you open a page again.";
}
section.hidden = false;
