/* How items stand by what waits on this phone: a fail, a spare that went in and a crackle count from the tap on, sent or
   not. What names its item on a page (templates/parts/state.html, `data-here`) is put right there. */

import { entries, news } from "./outbox.js";

const UNTESTED = "in_service_untested";

/* Of each code what was found of it here: "quarantined", "suspect", or "in_service_untested" where its tester says that it was
   not tested after all. `all` are entries, the oldest first. */
export function standing(all) {
  const states = new Map(), failed = new Set();
  const flexed = ({ evidence }) => evidence.some((one) => one.class === "flexed");
  const mark = (code, as) => { if (states.get(code) !== "quarantined") states.set(code, as); };
  for (const { url, body, shown } of all) {
    if (url === "/api/v1/swaps") mark(body.bad, "quarantined");
    else if (url === "/api/v1/suspects") mark(body.item, "suspect");
    else if (url === "/api/v1/causes" && shown.item) {
      mark(shown.item, body.evidence ? "quarantined" : "suspect");
      if (body.evidence) failed.add(shown.item);
    }
    else if (url === "/api/v1/marks" && shown.of !== "Fail" && !states.has(shown.code)) states.set(shown.code, UNTESTED);
    else if (url !== "/api/v1/tests") continue;
    else if (shown.verdict === "Fail" && body.through.length) [body.item, ...body.through].forEach((code) => mark(code, "suspect"));
    else if (shown.verdict === "Fail") { mark(body.item, "quarantined"); failed.add(body.item); }
    // A fault ends by a repair and then a pass, which this phone cannot decide.
    else if (shown.verdict === "Pass" && !failed.has(body.item) && (states.get(body.item) !== "suspect" || flexed(body))) states.delete(body.item);
  }
  return states;
}

const LOOKS = { quarantined: ["Quarantined", "is-solid"], blocked: ["Blocked", "is-fail is-twice"], suspect: ["Suspect", "is-fail is-open"],
  [UNTESTED]: ["In service, untested", "is-due is-open"], untested: ["Untested", "is-calm is-open"] }; // as templates/parts/state.html has them
const DUE = { quarantined: "blocked", [UNTESTED]: "untested" };
const sent = []; // entries sent since this page was loaded, which it does not show yet

/* Correct the page, and keep it up to date. */
export async function keepRight() {
  const show = async () => {
    const states = standing([...sent, ...await entries()]);
    for (const chip of document.querySelectorAll("[data-stands], [data-due]")) put(chip, states.get(chip.dataset.stands ?? chip.dataset.due));
    for (const element of document.querySelectorAll("[data-here]")) element.hidden = states.get(element.dataset.here) !== "quarantined";
  };
  news.addEventListener("sent", (/** @type {CustomEvent} */ { detail }) => sent.push(detail.entry));
  news.addEventListener("change", show);
  await show();
}

/* The chip of an item that was found `as` this; unchanged if nothing was found. */
function put(chip, as) {
  if (chip.nextElementSibling?.dataset.instead) chip.nextElementSibling.remove();
  if (as === UNTESTED && !chip.matches(".is-pass")) return; // it does not show a better state
  chip.hidden = Boolean(as) && (as === "quarantined" || chip.dataset.stands !== undefined || chip.matches(".is-pass"));
  const name = chip.dataset.stands ? as : DUE[as];
  if (name) {
    const made = Object.assign(document.createElement("span"), { className: `chip ${LOOKS[name][1]}` });
    made.append(...chip.cloneNode(true).childNodes);
    made.dataset.instead = "yes";
    shape(made, name);
    made.lastElementChild.textContent = LOOKS[name][0];
    chip.after(made);
  }
  if (as) node(chip, as);
}

/* The mark at the start of the item's row. */
function node(chip, as) {
  const mark = chip.closest(".run > li")?.querySelector(":scope > .node");
  if (!mark) return;
  mark.className = `node ${as === UNTESTED ? "is-due" : "is-fail"}`;
  shape(mark, as);
}

function shape(within, name) {
  const use = within.querySelector("use");
  use.setAttribute("href", use.getAttribute("href").replace(/#.*/, `#${name}`));
}
