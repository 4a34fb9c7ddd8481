/* The wall of a line check: a tap shows at once and goes through the outbox, signal or not. Other phones' taps are asked for
   every few seconds, the screen stays awake, and the time that is left is counted down. */

import { add, entries, me, news } from "../outbox/outbox.js";
import { say } from "../outbox/status.js";
import { StorageRefused } from "../outbox/store.js";

const HEARD = "/api/v1/heard";
const ASKED_EVERY = 4000; // ms
const WORDS = { good: ["Good", "pass"], dead: ["Dead", "fail"], crossed: ["Sounds as another", "partial"], "": ["Not heard yet", "untested"] };

/** @type {HTMLElement} */
const wall = document.querySelector(".wall");
const check = wall?.dataset.check;
/** @type {NodeListOf<HTMLFormElement>} */
const keys = document.querySelectorAll("[data-key]");
let taps = 0;

/* Show what was heard on a channel; `more` is what else is known of it. */
function show(key, heard, more = {}) {
  const [word, shape] = WORDS[heard], button = key.querySelector("button"), use = key.querySelector("use");
  const as = more.sounds_as && [...keys].find((other) => other.dataset.key === more.sounds_as);
  key.dataset.heard = heard;
  button.className = `key is-${heard || "left"}`;
  button.value = heard === "good" ? "dead" : "good";
  use.setAttribute("href", use.getAttribute("href").replace(/#.*/, `#${shape}`));
  key.querySelector("[data-word]").textContent = (more.again ? "Listen again" : as ? `Sounds as ${as.dataset.number}` : word)
    + (more.disputed ? ", two disagree" : "");
  const all = [...keys].map((one) => one.dataset.heard), many = (sound) => all.filter((one) => one === sound).length;
  document.querySelector("[data-counts]").textContent = `${many("good")} good, ${many("dead")} dead, ${many("crossed")} crossed, ${many("")} left`;
}

/* Keep what was heard. Where the phone keeps nothing, the key is the form that it is. */
async function keep(form, key, heard, more) {
  taps += 1;
  try {
    await add(HEARD, { check, channel: key.dataset.key, heard, ...more, at: new Date().toISOString() }, {
      what: "channel", code: `Channel ${key.dataset.number}`, verdict: WORDS[heard][0], words: [], back: location.pathname, fields: [],
    }, undefined, 0);
    navigator.vibrate?.(30);
    show(key, heard, more);
  } catch (error) {
    if (!(error instanceof StorageRefused)) throw error;
    form.dataset.plain = "yes";
    say("This phone keeps nothing for websites, so each tap is sent now, and needs a signal.");
    form.requestSubmit(form.querySelector("button"));
  }
}

document.addEventListener("submit", (event) => {
  const form = /** @type {HTMLFormElement} */ (event.target);
  if (form.dataset.plain) return;
  if (form.dataset.key) {
    event.preventDefault();
    keep(form, form, form.dataset.heard === "good" ? "dead" : "good", {});
  } else if (form.dataset.crossed !== undefined) {
    const fields = new FormData(form), key = [...keys].find((one) => one.dataset.key === fields.get("channel"));
    if (!key || fields.get("sounds_as") === fields.get("channel")) return; // the service says what is wrong
    event.preventDefault();
    keep(form, key, "crossed", { sounds_as: fields.get("sounds_as") });
  }
}, true);

/* What waits on this phone, over what the service knows. */
async function renew(channels = []) {
  const before = taps, waiting = (await entries()).filter(({ url, who, body }) => url === HEARD && who === me() && body.check === check);
  if (before !== taps) return;
  for (const one of channels) {
    const key = [...keys].find((form) => form.dataset.key === one.channel);
    if (key && !waiting.some(({ body }) => body.channel === one.channel)) show(key, one.heard ?? "", one);
  }
  for (const { body } of waiting) {
    const key = [...keys].find((form) => form.dataset.key === body.channel);
    if (key) show(key, body.heard, body);
  }
}

async function ask() {
  const before = taps;
  try {
    const answer = await fetch(`/api/v1/line-checks/${check}`, { cache: "no-store" });
    if (answer.ok && before === taps) await renew((await answer.json()).channels);
  } catch { /* no signal: what stands here is shown */ }
  setTimeout(ask, ASKED_EVERY);
}

async function stayAwake() {
  try { await navigator.wakeLock?.request("screen"); } catch { /* its battery is low, or the page is hidden */ }
}

function countDown() {
  /** @type {HTMLElement} */
  const clock = document.querySelector("[data-ends]");
  const left = Math.round(Number(clock.dataset.ends) - Date.now() / 1000), seconds = Math.abs(left);
  clock.textContent = `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")} ${left < 0 ? "over" : "left"}`;
  clock.classList.toggle("is-over", left < 0);
}

if (wall) {
  stayAwake();
  document.addEventListener("visibilitychange", () => { if (document.visibilityState === "visible") stayAwake(); });
  news.addEventListener("sent", () => { taps += 1; }); // what was asked for before does not know it yet
  countDown();
  setInterval(countDown, 1000);
  renew();
  ask();
}
