/* The pull list with the outbox: a tick is kept on the phone at once, and goes out when there is a signal.
   Without it, every box is a form that is sent as ever. */

import { add } from "../outbox/outbox.js";
import { say } from "../outbox/status.js";
import { StorageRefused } from "../outbox/store.js";

/* Let the boxes of a list, or of one line, tick through the outbox. `ticked(form)` shows that a line is done. */
export function bind(root, ticked) {
  root.addEventListener("submit", async (event) => {
    const form = event.target.closest("[data-tick]");
    if (!form || form.dataset.plain) return;
    event.preventDefault();
    if (form.dataset.busy) return;
    form.dataset.busy = "yes";
    try {
      await keep(JSON.parse(form.dataset.tick));
      navigator.vibrate?.(40);
      ticked(form);
    } catch (error) {
      if (!(error instanceof StorageRefused)) throw error;
      form.dataset.plain = "yes";
      say("This phone keeps nothing for websites, so the tick is sent now, and needs a signal.");
      setTimeout(() => form.requestSubmit());
    }
  });
}

/* Keep a tick: `told` is what the line says of itself. */
export function keep(told) {
  const { event, item, action, spare, why } = told;
  return add("/api/v1/pull/ticks", { event, item, action, spare: spare ?? null, why, at: new Date().toISOString() }, {
    what: "tick", code: item, verdict: "Tick", words: spare ? [`In goes ${spare.slice(0, 3)} ${spare.slice(3)}.`] : [],
    back: `/pull/${event}`, fields: [],
  });
}

function shown(form) {
  const line = form.closest("li"), bar = document.querySelector("[data-bar]");
  line.classList.add("is-done");
  form.replaceWith(Object.assign(document.createElement("span"), { className: "box is-ticked", textContent: "✓" }));
  const count = bar.querySelector("progress");
  count.value += 1;
  bar.querySelector(".num").textContent = `${count.value} of ${count.max} done`;
}

const list = document.querySelector("main");
if (document.querySelector("form[data-tick]")) bind(list, shown);
