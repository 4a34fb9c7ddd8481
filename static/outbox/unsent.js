/* A form that is no test is sent as pages are: where there is no signal, it would be lost with its page. So it asks
   first whether the service answers; where it does not, the page stays, with all that was entered. A form that only
   leads on names, as `data-without`, where it does so on what was taken along. */

import { warning } from "./status.js";

const PATIENCE = 4000; // ms
const GONE = [502, 504]; // what a gateway says when the service behind it is away
const WORDS = "There is no signal, so this was not sent. What you entered stays here: send it again once there is one.";
let asking = false, through = null;

/* Once every other script of the page has had its say of the form. */
export function start() {
  document.addEventListener("submit", (event) => {
    const { target: form, submitter } = event;
    if (event.defaultPrevented || form.method !== "post" || form === through) return;
    event.preventDefault();
    if (!asking) send(form, submitter);
  });
}

async function send(form, submitter) {
  asking = true;
  const answered = await answers();
  asking = false;
  form.querySelector("[data-unsent]")?.remove();
  if (!answered) return leads(form) ? location.assign(form.dataset.without) : say(form);
  through = form;
  form.requestSubmit(submitter);
  through = null;
}

const leads = (form) => form.dataset.without && navigator.serviceWorker?.controller;

async function answers() {
  try {
    const answer = await fetch("/healthz", { cache: "no-store", signal: AbortSignal.timeout(PATIENCE) });
    return !GONE.includes(answer.status);
  } catch {
    return false;
  }
}

function say(form) {
  const told = warning(WORDS);
  told.dataset.unsent = "";
  told.setAttribute("role", "alert");
  form.append(told);
  told.scrollIntoView({ block: "center" }); // at an edge, the bars would lie over it
}
