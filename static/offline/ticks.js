/* Ticking a line of a pull list through the outbox: saved on the phone at once, sent when there is a signal. */

import { add } from "../outbox/outbox.js";
import { say, spaced } from "../outbox/status.js";
import { StorageRefused } from "../outbox/store.js";

/* Let the boxes below `root` tick through the outbox; `ticked(form)` shows that a line is done. Where the phone keeps
   nothing, a box is the form that it is. */
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
      setTimeout(() => event.submitter.click());
    }
  });
}

/* Save a tick: `fields` are the line's own data. */
function keep(fields) {
  const { event, item, action, spare, why } = fields;
  return add("/api/v1/pull/ticks", { event, item, action, spare: spare ?? null, why, at: new Date().toISOString() }, {
    what: "tick", code: item, verdict: "Tick", words: spare ? [`In goes ${spaced(spare)}.`] : [],
    back: `/pull/${event}`, fields: [],
  });
}

/* Show a line as done, and count it in the bar. */
export function shown(form) {
  /** @type {HTMLProgressElement} */
  const count = document.querySelector(".pullbar progress"), line = form.closest("li");
  line.classList.add("is-done");
  form.replaceWith(Object.assign(document.createElement("span"), { className: "box is-ticked", textContent: "✓" }));
  count.value += 1;
  document.querySelector(".pullbar .num").textContent = `${count.value} of ${count.max} done`;
}
