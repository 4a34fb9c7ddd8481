/* The offline package: sessions, and the tables of their wirings. */

import { entries, me } from "../outbox/outbox.js";
import { standing } from "../outbox/standing.js";
import { taken } from "../outbox/store.js";

export const LASTS = 14 * 24 * 3600 * 1000; // ms: an older worklist is misleading

const TRIES = 30; // how often the service may answer that it is still computing a table

/* Load a session's worklist, which works before its tables are there; returns what is saved. What was sent before is
   in what the service says now, and counts no more by itself: a test that was voided since would be done here for ever. */
export async function take(id) {
  const sent = await taken.all(`done:${id}:`), stood = await taken.all("stands:");
  const session = await loaded(`/api/v1/sessions/${id}/package`);
  const kept = { ...session, loaded_at: Date.now() };
  await taken.put(`session:${id}`, kept);
  await forget(`done:${id}:`, sent);
  await forget("stands:", stood);
  for (const each of await sessions()) {
    if (Date.now() - each.loaded_at > LASTS) await taken.drop(`session:${each.session.id}`);
  }
  return kept;
}

/* The wirings of a session whose tables are missing or outdated on this phone. */
export async function missing(pack) {
  const outdated = [];
  for (const [key, wiring] of Object.entries(pack.wirings)) {
    if ((await taken.get(`table:${key}`))?.version !== wiring.version) outdated.push(key);
  }
  return outdated;
}

/* Load the missing tables and save each one as it arrives; `progress` is called with how many are there. */
export async function complete(pack, progress = (_here, _all) => {}) {
  const keys = await missing(pack);
  for (const [at, key] of keys.entries()) {
    progress(at, keys.length);
    const { table, version } = pack.wirings[key];
    await taken.put(`table:${key}`, { ...await loaded(table), version });
  }
  progress(keys.length, keys.length);
}

/* Load an event's pull list; returns what is saved. A tick that was sent from here may have been undone since. */
export async function takePull(event) {
  const sent = await taken.all(`ticked:${event}:`);
  const kept = { ...await loaded(`/api/v1/pull?event=${event}`), loaded_at: Date.now() };
  await taken.put(`pull:${event}`, kept);
  await forget(`ticked:${event}:`, sent);
  for (const each of await pulls()) {
    if (Date.now() - each.loaded_at > LASTS) await taken.drop(`pull:${each.event.id}`);
  }
  return kept;
}

/* Forget these sent ticks. */
async function forget(prefix, sent) {
  for (const { code } of sent) await taken.drop(prefix + code);
}

/* The saved pull lists, the newest first. */
export async function pulls() {
  return (await taken.all("pull:")).sort((one, other) => other.loaded_at - one.loaded_at);
}

/* A list's lines, with what was ticked on this phone since. */
export async function pullLines(list) {
  const { id } = list.event;
  const sent = new Set((await taken.all(`ticked:${id}:`)).map((each) => each.code));
  const here = new Set((await entries()).filter((entry) => entry.who === me() && entry.body.event === id).map((entry) => entry.body.item));
  return list.items.map((line) => ({ ...line, done: Boolean(line.done_at) || sent.has(line.code) || here.has(line.code) }));
}

/* The tables of a wiring: the saved ones, else those of the service, which are saved, too. */
export async function tableOf(key) {
  const held = await taken.get(`table:${key}`).catch(() => null);
  if (held) return held;
  const table = await loaded(`/api/v1/wirings/${encodeURIComponent(key)}`);
  await taken.put(`table:${key}`, table).catch(() => {});
  return table;
}

/* What the service answers, as JSON. */
export async function loaded(url, tries = TRIES) {
  const answer = await fetch(url, { cache: "no-cache", headers: { Accept: "application/json" } });
  if (answer.status === 503 && tries > 1) {
    await new Promise((resolve) => { setTimeout(resolve, 1000 * (Number(answer.headers.get("Retry-After")) || 2)); });
    return loaded(url, tries - 1);
  }
  if (!answer.ok) throw new Error((await answer.json().catch(() => null))?.detail ?? `status ${answer.status}`);
  return answer.json();
}

export async function sessions() {
  return (await taken.all("session:")).sort((one, other) => other.loaded_at - one.loaded_at);
}

export const session = (id) => taken.get(`session:${id}`);

/* The line of a code in this session, or in the one that was saved last: {pack, line}, or null. */
export async function lineOf(code, id) {
  const packs = id ? [await session(id)] : await sessions();
  for (const pack of packs.filter(Boolean)) {
    const line = pack.lines.find((each) => each.code === code);
    if (line) return { pack, line };
  }
  return null;
}

/* Each line with its verdict, if it has one: the service's, or a later one of this phone. */
export async function linesOf(pack) {
  const { id } = pack.session;
  const waiting = (await entries()).filter((entry) => entry.who === me() && entry.body.session === id);
  const sent = new Map((await taken.all(`done:${id}:`)).map((each) => [each.code, each.verdict]));
  const here = new Map(waiting.map((entry) => [entry.shown.code, entry.shown.verdict.toLowerCase()]));
  return pack.lines.map((line) => ({ ...line, done: here.get(line.code) ?? sent.get(line.code) ?? line.done }));
}

/* The state of a line's item: by entries that wait here, by those sent since, else as it was saved. */
export async function stateOf(line) {
  const sent = await taken.get(`stands:${line.code}`).catch(() => null);
  const before = sent?.state ?? line.stands ?? line.state, here = standing(await entries()).get(line.code) ?? before;
  return here === "in_service_untested" && before !== "in_service" ? before : here;
}

/* The next open line after this code in walking order, continuing at the start. */
export function next(lines, after) {
  const at = lines.findIndex((line) => line.code === after) + 1;
  return [...lines.slice(at), ...lines.slice(0, at)].find((line) => !line.done && line.code !== after) ?? null;
}
