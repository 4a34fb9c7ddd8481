/* The wall of a set-up drill: a stopwatch. A tap shows at once with its time and goes through the outbox, signal or not; other
   phones' taps are asked for every few seconds, and the screen stays awake. */

import { add, entries, me, news } from "../outbox/outbox.js";
import { say } from "../outbox/status.js";
import { StorageRefused } from "../outbox/store.js";
import { keepAwake } from "./awake.js";

const DONE = "/api/v1/stations-done";
const ASKED_EVERY = 4000; // ms
const CORRECTED_FROM = 110_000; // ms by which this phone's clock is wrong: from 120,000 on the service corrects what it sends

/** @type {HTMLElement} */
const wall = document.querySelector(".stations");
const { drill = "" } = wall?.dataset ?? {}, started = Number(wall?.dataset.started) * 1000, given = Number(wall?.dataset.window);
/** @type {HTMLFormElement[]} */
const plugs = [...document.querySelectorAll("form[data-plug]")].map((form) => /** @type {HTMLFormElement} */ (form));
/** @type {HTMLFormElement[]} */
const stations = [...document.querySelectorAll("form[data-station]:not([data-plug])")].map((form) => /** @type {HTMLFormElement} */ (form));
let skew = Number(wall?.dataset.now) * 1000 - Date.now(); // the service's clock less this phone's
let taps = 0;

const of = (station) => plugs.filter((form) => form.dataset.station === station);
const timeOf = (form) => (form.dataset.in === "" ? null : Number(form.dataset.in));
const latest = (forms) => (forms.every((form) => form.dataset.in !== "") ? Math.max(...forms.map(timeOf)) : null);
const since = (at) => Math.max(0, (at - started) / 1000);

function clock(seconds) {
  const whole = Math.round(seconds);
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}

function paint(form, time, word) {
  const button = form.querySelector("button"), use = form.querySelector("use");
  button.className = `key is-${time === null ? "left" : "good"}`;
  button.value = time === null ? "yes" : "no";
  use.setAttribute("href", use.getAttribute("href").replace(/#.*/, time === null ? "#untested" : "#pass"));
  form.querySelector("[data-word]").textContent = word;
}

/* Put what a tap says into the keys: of one plug, or of all of a station. What is in already keeps its time. */
function mark({ station, plug, done }, seconds) {
  for (const form of of(station).filter((one) => !plug || one.dataset.plug === plug)) {
    if (!done) form.dataset.in = "";
    else if (form.dataset.in === "") form.dataset.in = String(seconds);
  }
}

function show() {
  for (const form of plugs) paint(form, timeOf(form), timeOf(form) === null ? form.dataset.left : `In at ${clock(timeOf(form))}`);
  for (const form of stations) {
    const here = of(form.dataset.station), time = latest(here), many = here.filter((one) => one.dataset.in !== "").length;
    paint(form, time, time === null ? `${many} of ${here.length} ${here.length === 1 ? "plug" : "plugs"} in` : `Done at ${clock(time)}`);
  }
  const all = latest(plugs), done = stations.filter((form) => latest(of(form.dataset.station)) !== null).length;
  document.querySelector("[data-counts]").textContent = all === null ? `${done} of ${stations.length} stations done` : `All stations done in ${clock(all)}.`;
  /** @type {HTMLElement} */ (document.querySelector("[data-more]")).hidden = all === null;
  tick();
}

/* Keep a tap. Where the phone keeps nothing, the key is the form that it is. */
async function keep(form) {
  taps += 1;
  const now = Date.now(), { station, plug } = form.dataset, time = plug ? timeOf(form) : latest(of(station));
  const body = { drill, station, ...(plug && { plug }), done: time === null };
  try {
    await add(DONE, { ...body, at: new Date(Math.abs(skew) < CORRECTED_FROM ? now + skew : now).toISOString() }, {
      what: "tap", code: station, verdict: body.done ? "Done" : "Not done", words: [], back: location.pathname, fields: [],
    }, undefined, 0);
    navigator.vibrate?.(30);
    mark(body, since(now + skew));
    show();
  } catch (error) {
    if (!(error instanceof StorageRefused)) throw error;
    form.dataset.plain = "yes";
    say("This phone keeps nothing for websites, so each tap is sent now, and needs a signal.");
    form.requestSubmit(form.querySelector("button"));
  }
}

document.addEventListener("submit", (event) => {
  const form = /** @type {HTMLFormElement} */ (event.target);
  if (form.dataset.plain || !form.dataset.station) return;
  event.preventDefault();
  keep(form);
}, true);

/* What waits on this phone, over what the service knows. */
async function renew(known = []) {
  const before = taps, waiting = (await entries()).filter(({ url, who, body }) => url === DONE && who === me() && body.drill === drill);
  if (before !== taps) return;
  for (const { plugs: told } of known) {
    for (const { id, in_s } of told) plugs.find((form) => form.dataset.plug === id).dataset.in = in_s === null ? "" : String(in_s);
  }
  const late = (at) => (Math.abs(skew) < CORRECTED_FROM ? at : at + skew);
  for (const { body } of waiting.sort((one, other) => one.made_at - other.made_at)) mark(body, since(late(Date.parse(body.at))));
  show();
}

async function ask() {
  const before = taps, asked = Date.now();
  try {
    const answer = await fetch(`/api/v1/drills/${drill}`, { cache: "no-store" });
    if (answer.ok && before === taps) {
      const { now, stations: told } = await answer.json();
      skew = Date.parse(now) - (asked + Date.now()) / 2;
      await renew(told);
    }
  } catch { /* no signal: what stands here is shown */ }
  setTimeout(ask, ASKED_EVERY);
}

/* The stopwatch; it stands still when all stations are done. */
function tick() {
  const shown = document.querySelector("[data-clock]");
  if (!shown) return;
  const seconds = latest(plugs) ?? Math.floor(since(Date.now() + skew));
  shown.textContent = `${clock(seconds)} of ${clock(given)}`;
  shown.classList.toggle("is-over", seconds > given);
}

if (wall) {
  keepAwake();
  news.addEventListener("sent", () => { taps += 1; }); // what was asked for before does not know it yet
  setInterval(tick, 1000);
  renew();
  ask();
}
