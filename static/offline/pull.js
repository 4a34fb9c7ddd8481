/* The pull list's own page: its boxes tick through the outbox, and it can be saved for use without a signal. */

import { span } from "../outbox/status.js";
import { pulls, takePull } from "./package.js";
import { bind, shown } from "./ticks.js";
import { install, possible } from "./worker.js";

bind(document.querySelector("main"), shown);

const part = document.querySelector("[data-pull]");
if (part && possible) {
  const note = part.querySelector("[data-told]"), button = part.querySelector("button"), event = part.dataset.pull;
  const say = (list) => { note.textContent = `On this phone, loaded ${span(Date.now() - list.loaded_at)} ago. It works without a signal.`; };
  part.hidden = false;
  const had = (await pulls().catch(() => [])).find((list) => list.event.id === event);
  if (had) say(had);
  button.addEventListener("click", async () => {
    button.disabled = true;
    try {
      await install();
      say(await takePull(event));
      await navigator.serviceWorker.ready;
    } catch (error) {
      note.textContent = `It could not be taken along: ${error.message}. Try again with a signal.`;
    }
    button.disabled = false;
  });
}
