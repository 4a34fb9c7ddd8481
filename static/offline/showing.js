/* A button named `show` shows its form in another view: through other pieces, or what lamps mean. The service answers
   with that view, filled in as the form was, and logs nothing. It takes the place of what is shown: the page stays, so
   that without a signal nothing is lost, and the way back leads to the form as it was left. */

import { warning } from "../outbox/status.js";
import { arm } from "./arming.js";

const LOST = "There is no signal, so it could not be shown. What you entered stays here: try again once there is one.";
const left = []; // the view at each step of the history, by its number
let at = history.state?.view ?? 0;

/* Show views so on this page; `opened` is told of each that is new. */
export function showViews(opened) {
  document.addEventListener("submit", (event) => {
    const button = /** @type {HTMLButtonElement | null} */ (event.submitter);
    if (button?.name !== "show") return;
    event.preventDefault();
    show(event.target, button, opened);
  }, true);
  addEventListener("popstate", ({ state }) => {
    const there = state?.view ?? 0;
    if (there === at || !left[there]) return;
    left[at] = lift(document);
    at = there;
    lay(left[at]);
    arm();
  });
}

async function show(form, button, opened) {
  const data = new FormData(form);
  data.set(button.name, button.value);
  document.querySelector("[data-unsent]")?.remove();
  let page;
  try {
    const url = button.getAttribute("formaction") ?? form.getAttribute("action");
    const answer = await fetch(url, { method: "POST", body: new URLSearchParams(/** @type {any} */ (data)), headers: { Accept: "text/html" } });
    page = new DOMParser().parseFromString(await answer.text(), "text/html");
  } catch {
    return tell(form, LOST);
  }
  // Another page than a view of this form, such as the sign-in page, would discard everything that was entered.
  if (!page.querySelector(`[name=op][value="${data.get("op")}"]`)) return tell(form, page.querySelector("h1")?.textContent ?? LOST);
  left[at] = lift(document);
  at += 1;
  history.pushState({ view: at }, "");
  lay(lift(page));
  document.title = page.title;
  opened();
  scrollTo(0, 0);
  return (document.querySelector("[autofocus]") ?? document.getElementById("main")).focus();
}

/* Take the view out of a page: everything except the outbox's bar, which belongs to all views. */
function lift(page) {
  return [".page", ".actions"].map((part) => {
    const lifted = document.createDocumentFragment();
    lifted.append(...[...page.querySelector(part).children].filter((each) => !each.matches("[data-outbox]")));
    return lifted;
  });
}

function lay(/** @type {DocumentFragment[]} */ [main, actions]) {
  document.querySelector(".page").append(main);
  document.querySelector(".actions").append(actions);
}

function tell(form, sentence) {
  const notice = warning(sentence);
  notice.dataset.unsent = "";
  notice.setAttribute("role", "alert");
  form.append(notice);
  notice.scrollIntoView({ block: "center" });
}
