/* The wall of a line check: a tap shows at once and goes through the outbox, signal or not, and what is dead is judged at once.
   Other phones' taps are asked for every few seconds, the screen stays awake, and the time that is left is counted down. */

import { add, news } from "../outbox/outbox.js";
import { say } from "../outbox/status.js";
import { StorageRefused } from "../outbox/store.js";
import { judged } from "../lines/judging.js";
import { HEARD } from "../lines/listening.js";
import { capital, percent } from "../lines/words.js";
import { keepCheck, standing, takeCheck } from "./checks.js";
import { takeWall } from "./keeping.js";
import { keepAwake } from "./awake.js";
import { install, possible } from "./worker.js";

const ASKED_EVERY = 4000; // ms
const WORDS = { good: ["Good", "pass"], dead: ["Dead", "fail"], crossed: ["Sounds as another", "partial"], "": ["Not heard yet", "untested"] };

/** @type {string} */
let check;
/** @type {HTMLFormElement[]} */
let keys = [];
let pack = null; // the package; until it is there, what the page itself shows stands in its place
let taps = 0, frame = 0;
let judgedFor = { keys: "", components: null }; // what was judged last
const shows = new WeakMap(); // what each key shows

/* Show what was heard on a channel; `more` is what else is known of it. */
function show(key, heard, more = {}) {
  const [word, shape] = WORDS[heard], button = key.querySelector("button"), use = key.querySelector("use");
  const as = more.sounds_as && keys.find((other) => other.dataset.key === more.sounds_as), all = JSON.stringify([heard, more.sounds_as, more.again, more.disputed]);
  if (shows.get(key) === all) return; // most keys, most of the time: to lay them out anew takes as long as all else
  shows.set(key, all);
  key.dataset.heard = heard;
  key.dataset.as = more.sounds_as ?? "";
  button.className = `key is-${heard || "left"}`;
  button.value = heard === "good" ? "dead" : "good";
  use.setAttribute("href", use.getAttribute("href").replace(/#.*/, `#${shape}`));
  key.querySelector("[data-word]").textContent = (more.again ? "Listen again" : as ? `Sounds as ${as.dataset.number}` : word)
    + (more.disputed ? ", two disagree" : "");
}

function count() {
  const many = (sound) => keys.filter((key) => key.dataset.heard === sound).length;
  document.querySelector("[data-counts]").textContent = `${many("good")} good, ${many("dead")} dead, ${many("crossed")} crossed, ${many("")} left`;
}

/* Say what is most probably bad, by what the keys show. */
function judge(known) {
  if (!known.components) return;
  /** @type {HTMLElement} */
  const place = document.querySelector("[data-judged]"), first = /** @type {HTMLAnchorElement} */ (place.querySelector("[data-first]"));
  const sounds = Object.fromEntries(keys.map(({ dataset }) => [dataset.key, { heard: dataset.heard, sounds_as: dataset.as || null }]));
  const { blamed: [likeliest], problem } = judged(known, sounds);
  place.hidden = !likeliest && !problem;
  first.hidden = !likeliest;
  if (problem) place.querySelector("[data-most]").textContent = `${capital(problem)}. Listen to the channels again.`;
  if (!likeliest) return;
  const channel = known.channels.find(({ number }) => number === likeliest.channels[0]);
  place.querySelector("[data-most]").textContent = `Most probably: ${known.components[likeliest.key].name}, ${percent(likeliest.bad)}`;
  first.href = `/line-checks/${check}/channels/${channel.id}`;
  first.querySelector("span").textContent = `What to try first: channel ${channel.number}`;
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
    count();
  } catch (error) {
    if (!(error instanceof StorageRefused)) throw error;
    form.dataset.plain = "yes";
    say("This phone keeps nothing for websites, so each tap is sent now, and needs a signal.");
    form.requestSubmit(form.querySelector("button"));
  }
}

function onSubmit(event) {
  const form = /** @type {HTMLFormElement} */ (event.target);
  if (form.dataset.plain) return;
  if (form.dataset.key) {
    event.preventDefault();
    keep(form, form, form.dataset.heard === "good" ? "dead" : "good", {});
  } else if (form.dataset.crossed !== undefined) {
    const fields = new FormData(form), key = keys.find((one) => one.dataset.key === fields.get("channel"));
    if (!key || fields.get("sounds_as") === fields.get("channel")) return; // the service says what is wrong
    event.preventDefault();
    keep(form, key, "crossed", { sounds_as: fields.get("sounds_as") });
  }
}

/* Show what this phone logged over what the service told last. */
async function renew() {
  const before = taps, { sounds, pack: known } = await standing(pack);
  if (before !== taps) return;
  for (const key of keys) if (sounds[key.dataset.key]) show(key, sounds[key.dataset.key].heard, sounds[key.dataset.key]);
  const all = keys.map((key) => shows.get(key)).join();
  if (all === judgedFor.keys && pack.components === judgedFor.components) return;
  judgedFor = { keys: all, components: pack.components };
  count();
  judge(known);
}

/* The same once the key that was tapped is painted. */
function renewSoon() {
  cancelAnimationFrame(frame);
  frame = requestAnimationFrame(() => setTimeout(renew));
}

const again = ({ channels }) => channels.filter((one) => one.again).map((one) => one.channel).join();

/* Ask how the channels stand. Where something was done about one, parts are others, and their chances. */
async function ask() {
  const before = taps, asked_at = Date.now();
  try {
    const answer = await fetch(`/api/v1/line-checks/${check}`, { cache: "no-store" });
    if (answer.ok && before === taps) {
      const now = await answer.json(), other = !pack.components || again(now) !== again(pack.check);
      if (other) pack = await takeCheck(check);
      else if (JSON.stringify(now.channels) === JSON.stringify(pack.check.channels)) pack.asked_at = asked_at;
      else pack = await keepCheck({ ...pack, check: now, asked_at });
      await renew();
    }
  } catch { /* no signal: what stands here is shown */ }
  setTimeout(ask, ASKED_EVERY);
}

function countDown() {
  /** @type {HTMLElement} */
  const clock = document.querySelector("[data-ends]");
  const left = Math.round(Number(clock.dataset.ends) - Date.now() / 1000), seconds = Math.abs(left);
  clock.textContent = `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")} ${left < 0 ? "over" : "left"}`;
  clock.classList.toggle("is-over", left < 0);
}

/* What the page shows, as a package says it. */
function shown() {
  const channels = keys.map(({ dataset }) => ({ channel: dataset.key, heard: dataset.heard, sounds_as: dataset.as || null,
    again: dataset.again !== undefined, disputed: dataset.disputed !== undefined }));
  return { check: { id: check, channels }, asked_at: performance.timeOrigin };
}

/* Let the wall on this page work, with a package that was kept, or without one until it is loaded. */
export function work(kept = null) {
  check = /** @type {HTMLElement} */ (document.querySelector(".wall")).dataset.check;
  keys = [...document.querySelectorAll(".wall [data-key]")].map((key) => /** @type {HTMLFormElement} */ (key));
  pack = kept ?? shown();
  document.addEventListener("submit", onSubmit, true);
  news.addEventListener("sent", () => { taps += 1; }); // what was asked for before does not know it yet
  news.addEventListener("change", renewSoon); // a tap that was taken back shows no more
  keepAwake();
  countDown();
  setInterval(countDown, 1000);
  renew();
  ask();
}

/** @type {HTMLElement} */
const wall = document.querySelector(".wall");
if (wall && !wall.closest("[data-view]")) {
  work();
  if (possible) install();
  takeWall(wall.dataset.check).then((taken) => { pack = taken; return renew(); }, (error) => console.warn("Not kept:", error.message));
}
