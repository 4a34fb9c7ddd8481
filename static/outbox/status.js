/* The bar in every page: what waits on this phone, since when, what needs a person, and the way back. */

import { entries, flush, goWithin, last, line, me, news, takeBack } from "./outbox.js";
import { old, undoable, unsent } from "./rules.js";

export const UNDONE = "coilbook.undone"; // what was taken back or is being edited, for the form to fill in again
const bar = document.querySelector("[data-outbox]");
const sent = [];
let timer = 0;

export function made(tag, attributes, ...parts) {
  const element = Object.assign(document.createElement(tag), attributes);
  element.append(...parts);
  return element;
}

/* How many entries wait, in words: "1 test", "3 ticks", "4 entries" if there are both. */
function things(found) {
  const kinds = new Set(found.map((entry) => entry.shown.what ?? "test"));
  const word = kinds.size === 1 ? [...kinds][0] : "entry", many = word === "entry" ? "entries" : `${word}s`;
  return `${found.length} ${found.length === 1 ? word : many}`;
}

/* A code as it is printed on a tag; what is no code, such as a channel's name, stays as it is. */
export const spaced = (code) => code.replace(/^(...)(...)$/, "$1 $2");

/* A span of time in words: "under a minute", "5 minutes", "3 hours", "2 days". */
export function span(ms) {
  const minutes = Math.floor(ms / 60_000);
  if (minutes < 1) return "under a minute";
  const [count, word] = minutes < 60 ? [minutes, "minute"]
    : minutes < 2880 ? [Math.floor(minutes / 60), "hour"] : [Math.floor(minutes / 1440), "day"];
  return `${count || 1} ${word}${count > 1 ? "s" : ""}`;
}

/* For somebody who is not signed in: whose entries these are, and how they are sent. */
function left(all) {
  return [...new Set(all.map((entry) => entry.name))].map((name) => {
    const theirs = all.filter((entry) => entry.name === name), one = theirs.length === 1;
    return `${things(theirs)} of ${name || "somebody"} ${one ? "waits" : "wait"} on this phone, not sent yet. `
      + `${name || "They"} can join again or sign in here to send ${one ? "it" : "them"}: nothing is lost.`;
  });
}

function sentences(all, now) {
  if (!me()) return left(all);
  const own = all.filter((entry) => entry.who === me());
  const waiting = own.filter((entry) => entry.state !== "needs_attention");
  const stuck = own.filter((entry) => entry.state === "needs_attention");
  const messages = [];
  if (waiting.some((entry) => !undoable(entry, now))) {
    const oldest = span(Math.max(0, now - waiting[0].made_at));
    messages.push(`${things(waiting)} on this phone, not sent yet. The oldest is from ${oldest} ago.`);
  }
  if (line.rejoin && waiting.length) messages.push("Sign in again to send: nothing is lost.");
  if (stuck.length) messages.push(`${things(stuck)} refused by the service: look at it.`);
  const names = new Set(all.filter((entry) => entry.who !== me()).map((entry) => entry.name || "somebody else"));
  if (names.delete(document.body.dataset.name)) messages.push("Tests wait here from before you joined again. Show them, and say that they are yours.");
  for (const name of names) messages.push(`${name} has tests waiting on this phone. Only ${name} can send them, once signed in here.`);
  return messages;
}

/* What was saved a moment ago, in words. */
function fresh(all, now) {
  const newest = all.filter((entry) => entry.who === me() && undoable(entry, now)).pop();
  if (!newest) return null;
  const { code, verdict, words, look } = newest.shown;
  const saved = made("p", {}, made("b", {}, `${verdict} kept for ${spaced(code)}.`));
  const more = look?.length ? [made("details", {}, made("summary", {}, "Look first"), ...look.map((text) => made("p", {}, text)))] : [];
  return { words: [saved, ...(words.length ? [made("p", {}, words.join(" "))] : []), ...more], button: way(newest), id: newest.id };
}

/* The button to undo an entry: taken back as long as only this phone has it, else marked as wrong. */
function way(one) {
  const only = one.state && unsent(one), { code } = one.shown;
  const button = made("button", { type: "button", className: "btn plain" }, only ? "Undo" : "This was wrong");
  button.onclick = async () => {
    button.disabled = true;
    const undone = await takeBack(one);
    if (!undone) return;
    if (undone.shown.fields.length) sessionStorage.setItem(UNDONE, JSON.stringify({ code, fields: undone.shown.fields }));
    goWithin();
    location.assign(undone.shown.back);
  };
  return button;
}

/* The last entries, by code and verdict, each with its button to undo it. */
function earlier(ones) {
  const list = made("div", { className: "stack" }, ...ones.map((one) => made("div", { className: "side" },
    made("span", {}, made("b", {}, one.shown.verdict), " ", made("span", { className: "code" }, spaced(one.shown.code))), way(one))));
  const open = /** @type {HTMLDetailsElement} */ (bar.querySelector("[data-last]"))?.open ?? false;
  const part = made("details", { open }, made("summary", {}, "Undo an earlier one"), list);
  part.dataset.last = "";
  return part;
}

function buttons(all, undoing) {
  const links = undoing ? [undoing] : [];
  const own = all.filter((entry) => entry.who === me());
  if (own.some((entry) => entry.state !== "needs_attention")) {
    const send = made("button", { type: "button", className: "btn plain" }, "Send now");
    send.onclick = () => flush(true);
    links.push(send);
  }
  const next = encodeURIComponent(location.pathname + location.search);
  const asks = ["/join", "/sign-in"].includes(location.pathname); // these pages ask for it themselves
  if (line.rejoin || (!me() && !asks)) links.push(made("a", { className: "btn plain", href: `/join?next=${next}` }, "Join again"));
  if (all.length && !undoing) links.push(made("a", { className: "btn plain", href: "/offline" }, "Show them"));
  return links;
}

export async function show() {
  const all = await entries(), now = Date.now();
  clearTimeout(timer);
  if (all.length) timer = setTimeout(show, all.some((entry) => undoable(entry, now)) ? 1000 : 30_000);
  const messages = sentences(all, now), kept = fresh(all, now), words = kept?.words ?? [];
  const before = me() ? (await last()).filter((one) => one.id !== kept?.id) : [];
  const red = all.some((entry) => old(entry, now) || entry.state === "needs_attention");
  // The words change rarely, the bar often: screen readers get only what changed.
  const offered = before.map((one) => [one.id, Boolean(one.state && unsent(one))]);
  const state = JSON.stringify([messages, words.map((part) => part.textContent), red, line.rejoin, sent.length, offered]);
  if (bar.dataset.state === state) return;
  bar.dataset.state = state;
  const more = before.length ? [earlier(before)] : [];
  if (!all.length) return void bar.replaceChildren(...(sent.length ? [notice("is-pass", made("p", {}, `${things(sent)} sent.`))] : []), ...more);
  const side = made("div", { className: "side" }, ...buttons(all, kept?.button));
  return void bar.replaceChildren(notice(red ? "is-fail" : "is-due", ...words, ...messages.map((text) => made("p", {}, text)), side), ...more);
}

function notice(tone, ...parts) { return made("div", { className: `notice ${tone}` }, made("div", {}, ...parts)); }

export const warning = (text) => notice("is-fail", made("p", {}, text));

/* Show a message that is not about an entry, for example that storage is refused. */
export function say(text) { bar.append(warning(text)); }

news.addEventListener("sent", (/** @type {CustomEvent} */ { detail }) => { sent.push(detail.entry); });
if (bar) news.addEventListener("change", show);
