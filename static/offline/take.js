/* Take a session along: its worklist and forms first, then the tables of its wirings, so that all of it works without a
   signal. What is left over when the page is left goes on when it is opened again. */

import { news } from "../outbox/outbox.js";
import { span } from "../outbox/status.js";
import { complete, missing, session, take } from "./package.js";
import { installed, possible } from "./worker.js";

const section = document.querySelector("[data-take]"), id = section.dataset.take;
const note = section.querySelector("[data-told]"), button = section.querySelector("button");
const bar = section.querySelector("progress");

const wirings = (count) => (count === 1 ? "1 wiring" : `${count} wirings`);

function say(pack) {
  const tables = Object.keys(pack.wirings).length;
  note.textContent = `On this phone, loaded ${span(Date.now() - pack.loaded_at)} ago: ${pack.lines.length} items, and the faults of `
    + `${tables === 1 ? "their wiring" : wirings(tables)}. It works without a signal.`;
}

/* After the list: the pages that show it without a signal, then the tables that name faults on them. */
async function finish(pack) {
  button.textContent = "Take it along again";
  note.textContent = `The list of ${pack.lines.length} items is on this phone. Loading its pages…`;
  await installed();
  await complete(pack, (done, all) => {
    Object.assign(bar, { max: all + 1, value: done + 1, hidden: done === all });
    note.textContent = `The list of ${pack.lines.length} items is on this phone. Faults are here for ${done} of ${wirings(all)}; `
      + "tests can be logged without them.";
  });
  say(pack);
}

async function busy(work) {
  button.disabled = true;
  try {
    await work();
  } catch (error) {
    const kept = await session(id).catch(() => null);
    note.textContent = kept
      ? `The list is on this phone; the rest could not be loaded: ${error.message}. Try again with a signal.`
      : `It could not be taken along: ${error.message}. Try again with a signal.`;
  }
  bar.hidden = true;
  button.disabled = false;
  news.dispatchEvent(new Event("taken"));
}

section.hidden = false;
if (possible) {
  button.addEventListener("click", () => busy(async () => {
    note.textContent = "Loading the list…";
    Object.assign(bar, { hidden: false, value: 0 });
    await finish(await take(id));
  }));
  const pack = await session(id).catch(() => null);
  if (pack) {
    button.textContent = "Take it along again";
    if ((await missing(pack)).length) await busy(() => finish(pack));
    else say(pack);
  }
} else {
  button.hidden = true;
  note.textContent = "Working without a signal is not available here: this address is plain http, and phones keep pages only of "
    + "sites with https. With a signal every form works; a test that cannot be sent waits on this phone until you open a page again.";
}
