/* What every page of the crew does with the outbox: send, show what waits, remember who is here, and lose no form. */

import "../look/theme.js";
import { kept } from "./deeds.js";
import { news, start } from "./outbox.js";
import { keepRight } from "./standing.js";
import { warning } from "./status.js";

const TIMEOUT = 4000; // ms for the service to answer that it is there
const GONE = [502, 504]; // the answers of a gateway when the service behind it is not reachable
const UNSENT = "There is no signal, so this was not sent. What you entered stays here: send it again once there is one.";
let old = false, asking = false, through = null;

// The offline page, and whoever is not signed in, load this file for what is joined into it (service/web/modules.py).
if (document.body.dataset.who) begin(document.body.dataset.who, document.body.dataset.name);

function begin(who, name) {
  // iOS is left out: an app put on its home screen has a storage of its own, so there would be two outboxes.
  const ios = /iP(hone|ad|od)/.test(navigator.userAgent) || (navigator.platform === "MacIntel" && navigator.maxTouchPoints > 1);
  if (!ios) document.head.append(Object.assign(document.createElement("link"), { rel: "manifest", href: "/manifest.webmanifest" }));
  try { localStorage.setItem("coilbook.me", JSON.stringify({ id: who, name })); } catch { /* asked again online */ }
  news.addEventListener("sent", (/** @type {CustomEvent} */ { detail }) => {
    old ||= shows(detail.entry) && !document.activeElement?.matches("input, textarea, select");
    renew();
  });
  news.addEventListener("taken", renew);
  document.addEventListener("submit", onSubmit); // on its way up, after all that other scripts do with the form
  start();
  if (document.querySelector("[data-stands], [data-due], [data-here]")) keepRight();
}

/* A page that shows what was just sent shows it as it is now, unless somebody is filling something in; what is being taken
   along is loaded first, since to reload drops it. */
function renew() { if (old && !document.querySelector("[data-take] button:disabled")) location.reload(); }

function shows({ shown, body }) {
  return [`/t/${shown.code}`, `/T/${shown.code}`, `/sessions/${body.session}`].includes(location.pathname);
}

/* A form that is no test is sent as pages are: where there is no signal, it would be lost with its page. So it asks
   first whether the service answers; where it does not, the page stays, with all that was entered. What is done already
   (`data-deed`) is kept like a test. A form that only leads on names, as `data-without`, where it does so on what was
   taken along. */
function onSubmit(event) {
  const { submitter } = event, form = /** @type {HTMLFormElement} */ (event.target);
  if (event.defaultPrevented || form.getAttribute("method") !== "post" || form === through || !form.requestSubmit) return;
  event.preventDefault();
  if (!asking) send(form, submitter);
}

async function send(form, submitter) {
  asking = true;
  const answered = await answers();
  asking = false;
  form.querySelector("[data-unsent]")?.remove();
  if (!answered && form.dataset.deed && submitter?.name !== "show" && await kept(form)) return void (submitter.disabled = true); // once is enough
  if (!answered) return leads(form) ? location.assign(form.dataset.without) : say(form);
  through = form;
  form.requestSubmit(submitter);
  through = null;
}

const leads = (form) => form.dataset.without && navigator.serviceWorker?.controller;

async function answers() {
  const cut = new AbortController(), timer = setTimeout(() => cut.abort(), TIMEOUT);
  try {
    const answer = await fetch("/healthz", { cache: "no-store", signal: cut.signal });
    return !GONE.includes(answer.status);
  } catch {
    return false;
  } finally {
    clearTimeout(timer);
  }
}

function say(form) {
  const alert = warning(UNSENT);
  alert.dataset.unsent = "";
  alert.setAttribute("role", "alert");
  form.append(alert);
  alert.scrollIntoView({ block: "center" }); // at an edge, the bars would lie over it
}
