/* What was found, told at the spot: after a fail it stands in the place of the form until the person goes on. Its words
   and its looks are the parts of templates/testlog/told.html. */

import { news } from "../outbox/outbox.js";
import { spaced } from "../outbox/status.js";

export { tableOf } from "./package.js";

const HOLD = 1000; // ms in which the button to go on ignores taps, since it is where the verdict's button was

/** @type {(name: string) => any} */
const part = (name) => /** @type {HTMLTemplateElement} */ (document.querySelector(`template[data-told="${name}"]`)).content.cloneNode(true);

/* Tell of a fail of `test` that was kept as `entry`. `coming` is a promise of {faults, whole}, `whole` false where only
   the service can tell all; `goOn` leads on. */
export async function tell(test, entry, coming, goOn) {
  const view = part("view"), below = part("below");
  const [faults, unknown] = ["faults", "unknown"].map((hole) => view.querySelector(`[data-${hole}]`));
  view.querySelector("[data-name]").textContent = test.name;
  view.querySelector("[data-code]").textContent = spaced(test.code);
  for (const alone of view.querySelectorAll("[data-alone]")) alone.hidden = (alone.dataset.alone === "yes") === test.through.length > 0;
  view.querySelector("[data-swap]").href = `/swap?bad=${test.code}`;
  below.querySelector("span").textContent = test.session ? "On to the next" : "Back to the item";
  const on = below.querySelector("button");
  on.onclick = goOn;
  setTimeout(() => { on.disabled = false; }, HOLD);
  replace(view, below);
  let all = false;
  news.addEventListener("sent", (/** @type {CustomEvent} */ { detail }) => { if (!all && detail.entry.id === entry.id) named(entry.id, faults, unknown); });
  const { faults: known, whole } = await coming;
  if (unknown.hidden) return; // the service was faster
  all = whole;
  faults.replaceChildren(...known.map(sheet));
  unknown.hidden = whole;
}

/* Replace the content of the page; a reload opens the form again. */
function replace(view, below) {
  const main = document.getElementById("main"), actions = document.querySelector(".actions");
  for (const each of [...main.querySelectorAll(":scope > :not(.news)"), ...actions.querySelectorAll(":scope > *")]) each.hidden = true;
  main.append(view);
  actions.append(below);
  history.replaceState(null, "", "#told");
  const head = main.querySelector("[data-fail] h1");
  document.title = head.textContent;
  scrollTo(0, 0);
  head.focus();
}

function sheet(fault) {
  const made = part("fault");
  for (const hole of ["title", "on_stage", "look_first", "after_repair"]) made.querySelector(`[data-${hole}]`).textContent = fault[hole];
  const drawing = new DOMParser().parseFromString(fault.drawing ?? "", "text/html"); // from the tables
  made.querySelector("figure").append(...drawing.body.childNodes);
  return made;
}

/* The service's findings, as its own page shows them, where the phone had no answer. */
async function named(id, faults, unknown) {
  const answer = await fetch(`/tests/${id}`).catch(() => null);
  if (!answer?.ok) return;
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  faults.replaceChildren(...page.querySelectorAll("[data-found]"));
  unknown.hidden = true;
}
