/* Line checks without a signal: the wall as it was kept, what is to blame and what to try first as they are worked out here, and
   the input list and plug cards as they were. */

import { kept } from "../outbox/deeds.js";
import "../outbox/cause.js";
import { span } from "../outbox/status.js";
import { isDead, judged, nextThing } from "../lines/judging.js";
import { before, capital, minutes, percent } from "../lines/words.js";
import { check, pageAt, pages, standing } from "./checks.js";
import { part, show, unknown } from "./views.js";
import { work } from "./wall.js";

const NOT_HERE = "is not on this phone, and there is no signal to load it.";
const html = (text) => Object.assign(document.createElement("template"), { innerHTML: text }).content;

export async function wall(id) {
  const pack = await check(id).catch(() => null), page = pack && await pageAt(`/line-checks/${id}`);
  if (!page) return unknown(`This line check ${NOT_HERE}`);
  show(html(page.main), html(page.actions));
  return document.querySelector("[data-ends]") ? work(pack) : undefined; // it has ended
}

/* The input list or the plug cards at an address; `which`, with a list, those that were kept last. */
export async function page(address, which = "") {
  const saved = which ? (await pages().catch(() => [])).find((one) => one.address.endsWith("/cards") === (which === "cards") && one.address.startsWith("/inputs/"))
    : await pageAt(address).catch(() => null);
  if (!saved) return unknown(`This page ${NOT_HERE}`);
  const made = html(saved.main);
  made.querySelector("h1").after(part("asit", { when: span(Date.now() - saved.loaded_at) }));
  return show(made, html(saved.actions));
}

/* A link of a part leads there. */
function lead(made, hole, address) {
  const link = made.querySelector(`a[data-${hole}]`);
  if (link) link.href = address;
}

function back(id) {
  const made = part("towall");
  made.querySelector("a").href = `/line-checks/${id}`;
  return made;
}

export async function blame(id) {
  const saved = await check(id).catch(() => null);
  if (!saved) return unknown(`This line check ${NOT_HERE}`);
  const { pack, sounds } = await standing(saved), told = judged(pack, sounds), dead = pack.channels.filter((channel) => isDead(channel, sounds));
  const left = pack.channels.filter((channel) => !sounds[channel.id]?.heard).length;
  const made = part("blame", {
    unheard: left && dead.length ? `${left} ${left === 1 ? "channel is" : "channels are"} not heard yet. Each that you listen to narrows it down.` : "",
    names: capital(told.explanation.map((key) => pack.components[key].name).join(", and ")), chance: percent(told.share),
  });
  const sentences = [...(told.problem ? [`${capital(told.problem)}. Listen to the channels again.`] : []), ...told.crossed];
  made.querySelector("[data-problem]").replaceWith(...sentences.map((words) => part("told", { words })));
  made.querySelector("[data-dead]").append(...dead.map((channel) => {
    const row = part("dead", { number: String(channel.number), source: channel.source });
    row.querySelector("a").href = `/line-checks/${id}/channels/${channel.id}`;
    return row;
  }));
  made.querySelector("[data-blamed]").append(...told.blamed.map(({ key, bad, channels }) => {
    const { name, probability, basis } = pack.components[key], what = Object.assign(document.createElement("b"), { textContent: capital(name) });
    return part("blamed", { what, chance: percent(bad), channels: `${channels.length === 1 ? "channel" : "channels"} ${channels.join(", ")}`, prior: before(probability), basis });
  }));
  const without = { explained: told.explanation.length, some: dead.length, any: told.blamed.length, none: !dead.length && !told.crossed.length };
  for (const [hole, there] of Object.entries(without)) if (!there) made.querySelector(`[data-${hole}]`).remove();
  return show(made, back(id));
}

/* The next thing to try on a channel; `out` has the numbers of the parts that are no suspects, as its address has. */
export async function trace(id, channelId, out) {
  const saved = await check(id).catch(() => null), named = saved?.channels.find((one) => one.id === channelId);
  if (!named) return unknown(`This channel ${NOT_HERE}`);
  const { pack, sounds } = await standing(saved), channel = pack.channels.find((one) => one.id === channelId);
  if (!isDead(channel, sounds)) return show(part("alive", { title: channel.title }), back(id));
  /** @type {any} */
  const thing = nextThing(pack, channel, sounds, (out ?? "").split(".").filter(Boolean).map(Number));
  const at = location.pathname;
  const made = part("trace", { title: channel.title, sentence: thing.sentence, place: thing.place, bring: thing.bring, average: minutes(thing.left_s), worst: minutes(thing.worst_s) });
  for (const [hole, there] of Object.entries({ place: thing.place, bring: thing.bring, average: thing.left_s })) if (!there) drop(made, hole);
  if (thing.doing !== "listen") made.querySelector("[data-listening]").remove();
  lead(made, "wall", `/line-checks/${id}`);
  lead(made, "why", `/line-checks/${id}/blame`);
  for (const [end, name] of Object.entries(pack.ends)) made.querySelector(`[name=end][value=${end}]`).nextElementSibling.textContent = capital(name);
  const form = made.querySelector("form"), keys = [...new Set(channel.parts.flatMap(({ keys: all }) => all))], what = /** @type {HTMLSelectElement} */ (made.querySelector("[name=what]"));
  for (const [key, name] of [...keys.map((key) => [key, pack.components[key].name]), ["unknown", "nobody knows"]]) what.append(new Option(name, key));
  what.value = thing.doing === "swap" ? thing.part.keys[0] : "unknown";
  const codes = Object.fromEntries(keys.map((key) => [key, pack.components[key].code]).filter(([, code]) => code));
  form.dataset.facts = JSON.stringify({ check: id, channel: channelId, title: channel.title, codes });
  form.onsubmit = async (event) => {
    event.preventDefault();
    const done = await kept(form);
    if (done) location.assign(codes[done.what] ? `/swap?bad=${codes[done.what]}&check=${id}` : `/line-checks/${id}`);
  };
  const below = part(`answers-${thing.doing === "nothing" ? "bypass" : thing.doing}`);
  lead(below, "good", `${at}?out=${(thing.if_good ?? []).join(".")}`);
  lead(below, "dead", `${at}?out=${thing.if_dead.join(".")}`);
  lead(below, "wall", `/line-checks/${id}`);
  return show(made, below);
}

/* Take a fact without a value out of the list. */
function drop(made, hole) {
  const value = made.querySelector(`[data-${hole}]`).closest("dd");
  value.previousElementSibling.remove();
  value.remove();
}
