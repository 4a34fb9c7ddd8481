/* The outbox: tests wait here until the service's receipt names them.
   One page sends at a time, the oldest entry first, and only entries of the person who is signed in on it. */

import { known, meaning, onlyThis, sentence, undoable, wait } from "./rules.js";
import { alone, newId, post } from "./sender.js";
import * as store from "./store.js";

const UNDO = 10_000; // ms in which an entry can be taken back

export const news = new EventTarget(); // `change`, and `sent` with {entry, receipt}
export const line = { tries: 0, until: 0, rejoin: false }; // how the way to the service is, as this page knows it
const held = new Map(); // entry id -> {tries, until}, for what the service stumbled over
let busy = false, again = false, hurry = false, timer = 0;

export const me = () => document.body.dataset.who || null;

/* Keep a test. `body` is what the API takes, but for the id; `shown` is what a person sees of it. Under the `id` of an
   entry that is edited it takes its place: whatever the service has of it by then, it never has two. */
export async function add(url, body, shown, id = newId()) {
  const now = Date.now();
  const entry = {
    id, url, shown, who: me(), name: document.body.dataset.name ?? "", made_at: now, not_before: now + UNDO,
    state: "waiting", tries: 0, body: { id, ...body },
  };
  await store.keep(entry);
  navigator.storage?.persist?.().catch(() => {});
  changed();
  plan();
  return entry;
}

/* Take an entry back, if it was not sent yet: the entry, or undefined. */
export async function undo(id) {
  let undone;
  await store.change(id, (entry) => (undoable(entry) ? ((undone = entry), null) : undefined));
  changed();
  return undone;
}

export async function discard(id) {
  await store.change(id, () => null);
  changed();
}

/* Send one that was refused once more, as it is. */
export async function retry(id) {
  await store.change(id, (entry) => ({ ...entry, state: "waiting", problem: "" }));
  changed();
  await flush(true);
}

/* Send as the person who is here what was kept under an earlier sign-in of theirs: they say so, it never just happens. */
export async function takeOver(id) {
  await store.change(id, (entry) => ({ ...entry, who: me(), name: document.body.dataset.name ?? "", state: "waiting", problem: "" }));
  changed();
  await flush(true);
}

export const entries = () => store.entries();

/* Send what is due; everything, at once, where a person asked `now`. */
export async function flush(now = false) {
  hurry ||= now;
  if (busy) { again = true; return; }
  busy = true;
  try {
    do {
      again = false;
      const asked = hurry;
      hurry = false;
      await alone(() => round(asked));
    } while (again);
  } finally {
    busy = false;
  }
  await plan();
}

async function round(asked) {
  if (asked) Object.assign(line, { until: 0, rejoin: false });
  for (const entry of await mine()) {
    if (line.rejoin || line.until > Date.now()) return;
    if (!asked && dueAt(entry) > Date.now()) continue;
    await send(entry);
  }
}

const mine = async () => (await entries()).filter((entry) => entry.who === me() && entry.state !== "needs_attention");
const dueAt = (entry) => Math.max(undoable(entry) ? entry.not_before : 0, held.get(entry.id)?.until ?? 0);

async function send(entry) {
  const claimed = await store.change(entry.id, (now) => (
    now.state === "needs_attention" ? undefined : { ...now, state: "sending" }
  ));
  if (!claimed) return; // taken back or settled meanwhile
  changed();
  const answer = await post(claimed);
  const means = meaning(claimed, answer);
  if (means === "sent") {
    await store.change(entry.id, () => null);
    Object.assign(line, { tries: 0, until: 0 });
    const { session } = claimed.body, { code } = claimed.shown; // for the worklist, as long as there is no signal
    if (session) await store.taken.put(`done:${session}:${code}`, { code, verdict: answer.body.verdict }).catch(() => {});
    for (const [code, state] of stated(claimed.body, answer.body)) await store.taken.put(`stands:${code}`, { code, state }).catch(() => {});
    const { event, item } = claimed.body; // and so for a pull list
    if (event) await store.taken.put(`ticked:${event}:${item}`, { code: item }).catch(() => {});
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

/* The states that a receipt names, by code: of what was tested alone, of what was swapped. */
function stated({ item, through, bad, spare }, receipt) {
  const found = [[through?.length ? null : item, receipt.state], [bad, receipt.bad_state], [spare, receipt.spare_state]];
  return found.filter(([code, state]) => code && state);
}

/* Come back when the next entry is due. */
async function plan() {
  clearTimeout(timer);
  const waiting = await mine();
  if (!waiting.length || line.rejoin) return;
  const next = Math.max(Math.min(...waiting.map(dueAt)), line.until);
  clearTimeout(timer);
  timer = setTimeout(() => flush(), Math.max(500, next - Date.now()));
}

function changed() { news.dispatchEvent(new Event("change")); }

/* Send on every occasion on which there may be a signal again; `onLine` proves nothing, so it is not asked. */
export function start() {
  const fresh = () => { held.clear(); Object.assign(line, { until: 0, rejoin: false }); changed(); flush(); };
  addEventListener("online", fresh);
  addEventListener("pageshow", fresh);
  document.addEventListener("visibilitychange", () => { if (document.visibilityState === "visible") fresh(); });
  fresh();
}
