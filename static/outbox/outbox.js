/* The outbox: tests wait here until the service's receipt names them.
   One page sends at a time, the oldest entry first, and only entries of the person who is signed in on it. */

import { TESTS, known, meaning, onlyThis, sentence, takeable, undoable, unsent, wait } from "./rules.js";
import { alone, newId, post } from "./sender.js";
import * as store from "./store.js";

const UNDO = 10_000; // ms for which an entry waits, in case it is taken back
const MARKS = "/api/v1/marks";
const OF_LINES = new Set(["/api/v1/heard", "/api/v1/causes", "/api/v1/swaps"]); // what changes how the channels of a line check stand
const SENT = "sent:"; // this and a person's id are the key of the last tests that the person sent from here
const SENT_MOST = 5;
const EVENING = 12 * 3600 * 1000; // ms: an older entry is corrected on its own page
const LEAVING_MOST = 60_000; // characters: browsers accept 64 kB from a page that is closed

export const news = new EventTarget(); // `change`, `sent` with {entry, receipt}, and `taken` when a session was taken along, or could not be
export const line = { tries: 0, until: 0, rejoin: false }; // the state of the connection, as this page knows it
const held = new Map(); // entry id -> {tries, until}, for entries that caused an error of the service
let busy = false, again = false, hurry = false, timer = 0;
let here = []; // all entries as this page last saw them, for when there is no time to ask
let within = 0; // when this page began to be replaced by another one of ours

export const me = () => document.body.dataset.who || null;

/* Save a test. `body` is what the API takes, without the id; `shown` is what people see of it. Under the `id` of an
   entry that is edited it takes its place: whatever the service has of it by then, it never has two. `undo`: milliseconds for
   which it waits. */
export async function add(url, body, shown, id = newId(), undo = UNDO) {
  const now = Date.now();
  const entry = {
    id, url, shown, who: me(), name: document.body.dataset.name ?? "", made_at: now, not_before: now + undo,
    state: "waiting", tries: 0, body: { id, ...body },
  };
  await store.keep(entry);
  navigator.storage?.persist?.().catch(() => {});
  await changed();
  plan();
  return entry;
}

/* Take an entry back, if it was not sent yet; returns it, or undefined. */
async function undo(id) {
  /** @type {any} */
  let undone;
  await store.change(id, (entry) => (unsent(entry) ? ((undone = entry), null) : undefined));
  changed();
  return undone;
}

/* Take back one of the last entries: what was not sent is here no more, and is given back. Of what the service has, or may
   have, it is told that it was wrong; what it never had it then takes no more. */
export async function takeBack({ id, url, shown, session }) {
  const undone = await undo(id);
  if (undone || url !== TESTS) return undone;
  await add(MARKS, { test: id }, {
    what: "correction", of: shown.verdict, code: shown.code, verdict: "Correction", back: location.pathname + location.search, fields: [],
    words: [`${shown.verdict} was wrong. It counts as not tested until your lead decides.`],
  });
  await store.change(id, (entry) => (entry.state === "waiting" ? null : undefined));
  if (session) await store.taken.drop(`done:${session}:${shown.code}`).catch(() => {});
  changed();
  return undefined;
}

/* The last entries of the present person that can be taken back, the newest first. */
export async function last() {
  const sent = await store.taken.get(SENT + me()).catch(() => null) ?? [];
  return takeable(await entries(), sent.filter((one) => Date.now() - one.made_at < EVENING), me());
}

/* Remember what was sent, as long as it is among the last. */
async function remember({ id, url, who, made_at, shown, body }) {
  if (url !== TESTS && url !== MARKS) return;
  const sent = await store.taken.get(SENT + who) ?? [];
  const { code, verdict } = shown;
  const now = url === MARKS ? sent.filter((one) => one.id !== body.test)
    : [{ id, url, who, made_at, shown: { code, verdict }, session: body.session }, ...sent.filter((one) => one.id !== id)].slice(0, SENT_MOST);
  await store.taken.put(SENT + who, now);
}

export async function discard(id) {
  await store.change(id, () => null);
  changed();
}

/* Send a refused entry again, unchanged. */
export async function retry(id) {
  await store.change(id, (entry) => ({ ...entry, state: "waiting", problem: "" }));
  changed();
  await flush(true);
}

/* Send as the present person what was saved under an earlier sign-in of theirs; only if they say so. */
export async function takeOver(id) {
  await store.change(id, (entry) => ({ ...entry, who: me(), name: document.body.dataset.name ?? "", state: "waiting", problem: "" }));
  changed();
  await flush(true);
}

export const entries = () => store.entries();

/* Send what is due; with `now`, when a person asked for it, everything at once. */
export async function flush(now = false) {
  hurry ||= now;
  if (busy) { again = true; return; }
  busy = true;
  try {
    let done;
    do {
      again = done = false;
      const byHand = hurry;
      hurry = false;
      await alone(() => (done = true, round(byHand)));
      hurry ||= byHand && !done; // another page is sending, so this is tried again soon
    } while (again);
  } finally {
    busy = false;
  }
  await plan();
}

async function round(byHand) {
  if (byHand) Object.assign(line, { until: 0, rejoin: false });
  for (const entry of await mine()) {
    if (line.rejoin || line.until > Date.now()) return;
    if (!byHand && dueAt(entry) > Date.now()) continue;
    if (!(await ahead(entry))) await send(entry);
  }
}

const mine = async () => (await entries()).filter((entry) => entry.who === me() && entry.state !== "needs_attention");
const dueAt = (entry) => Math.max(undoable(entry) ? entry.not_before : 0, held.get(entry.id)?.until ?? 0);

/* Whether the test that an entry refers to still has to be sent. */
const ahead = async (entry) => entry.body.test && (await mine()).some((other) => other.id === entry.body.test);

async function send(entry) {
  const claimed = await store.change(entry.id, (now) => (
    now.state === "needs_attention" ? undefined : { ...now, state: "sending" }
  ));
  if (!claimed) return; // taken back or settled meanwhile
  changed();
  await settle(claimed, await post(claimed));
}

async function settle(claimed, answer) {
  const entry = claimed, means = meaning(claimed, answer);
  if (means === "sent") {
    Object.assign(line, { tries: 0, until: 0 });
    // First the result is saved, then the entry is removed: a page that is closed in between must not lose the item's state.
    if ((await entries()).some(({ id }) => id === entry.id)) await note(claimed, answer.body);
    if (await store.change(entry.id, () => null) === undefined) return void changed(); // it was sent twice, and logged once
    news.dispatchEvent(new CustomEvent("sent", { detail: { entry: claimed, receipt: answer.body } }));
  } else {
    await store.change(entry.id, (now) => ({
      ...now, tries: now.tries + 1,
      state: means === "refused" ? "needs_attention" : "waiting",
      problem: means === "refused" ? sentence(answer) : "", there: known(answer),
    }));
    if (means === "rejoin") line.rejoin = true;
    else if (means === "later" && onlyThis(answer)) {
      const tries = (held.get(entry.id)?.tries ?? 0) + 1;
      held.set(entry.id, { tries, until: Date.now() + wait(tries, answer.after) });
    }
    else if (means === "later") line.until = Date.now() + wait(++line.tries, answer.after);
  }
  changed();
}

/* Save the result of a sent entry for use without a signal: that it is done, its items' states, what was ticked, what
   the channels of line checks stand by. */
async function note(entry, receipt) {
  await remember(entry).catch(() => {});
  const { session, event, item } = entry.body, { code } = entry.shown;
  if (session) await store.taken.put(`done:${session}:${code}`, { code, verdict: receipt.verdict }).catch(() => {});
  for (const [code, state] of stated(entry.body, receipt)) await store.taken.put(`stands:${code}`, { code, state }).catch(() => {});
  if (event) await store.taken.put(`ticked:${event}:${item}`, { code: item }).catch(() => {});
  if (OF_LINES.has(entry.url)) await store.taken.put(`told:${entry.id}`, { url: entry.url, body: entry.body, told_at: Date.now() }).catch(() => {});
}

/* The states that a receipt names, by code: of what was tested alone, of what was swapped, of whose test was wrong. What was
   tested in part is as good as it was before. */
function stated({ item, through, bad, spare }, receipt) {
  const alone = through?.length || receipt.verdict === "partial" ? null : item;
  const named = [[alone, receipt.state], [bad, receipt.bad_state], [spare, receipt.spare_state], ...Object.entries(receipt.stands ?? {})];
  return named.filter(([code, state]) => code && state);
}

/* Come back when the next entry is due. */
async function plan() {
  clearTimeout(timer);
  const waiting = await mine();
  if (!waiting.length || line.rejoin) return;
  const next = Math.max(Math.min(...waiting.map(dueAt)), line.until);
  clearTimeout(timer);
  timer = setTimeout(() => flush(), hurry ? 500 : Math.max(500, next - Date.now()));
}

async function changed() {
  here = await entries();
  news.dispatchEvent(new Event("change"));
}

/* Send everything at once, since this page goes, and nobody may open another for days. What is sent stays here until a
   receipt names it; it is taken back no more, since the service may have it. */
function leave() {
  let room = LEAVING_MOST;
  if (line.rejoin) return;
  const going = here.filter((entry) => entry.who === me() && entry.state !== "needs_attention");
  for (const entry of going.filter(({ body }) => !going.some((other) => other.id === body.test))) {
    room -= JSON.stringify(entry.body).length + 100;
    if (room < 0) return;
    store.goesOut(entry.id);
    post(entry, true).then((answer) => settle(entry, answer));
  }
}

/* Note that the next page is one of ours: there, waiting entries can still be taken back. */
export function goWithin() { within = Date.now(); }

function watchLeaving() {
  const soon = () => Date.now() - within < UNDO;
  let gone = false;
  // Where the browser reports its target, that is used; else a click on a link or form of ours.
  if (window.navigation) {
    navigation.addEventListener("navigate", ({ destination, downloadRequest }) => {
      if (downloadRequest === null && new URL(destination.url).origin === location.origin) goWithin();
    });
  } else {
    addEventListener("click", ({ target }) => { if (/** @type {Element} */ (target).closest?.("a")?.origin === location.origin) goWithin(); });
    addEventListener("submit", goWithin);
  }
  addEventListener("pagehide", () => { gone = true; if (!soon()) leave(); });
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "hidden" && !(gone && soon())) leave();
  });
  addEventListener("pageshow", () => { gone = false; within = 0; });
}

/* Send on every occasion on which there may be a signal again; `onLine` proves nothing, so it is not used. */
export function start() {
  const fresh = () => { held.clear(); Object.assign(line, { until: 0, rejoin: false }); changed(); flush(); };
  addEventListener("online", fresh);
  addEventListener("pageshow", fresh);
  document.addEventListener("visibilitychange", () => { if (document.visibilityState === "visible") fresh(); });
  watchLeaving();
  fresh();
}
