/* The list of what waits on this phone, and what a person can do with an entry that the service refused. */

import { discard, entries, me, news, retry, takeOver } from "../outbox/outbox.js";
import { UNDONE, spaced, span } from "../outbox/status.js";

/* Show it in `view`, and keep it up to date. `part` makes a copy of a part of the page. */
export async function showEntries(view, part) {
  const list = view.querySelector("[data-entries]"), clear = view.querySelector("[data-clear]");
  const show = async () => {
    const all = await entries();
    list.replaceChildren(...all.map((entry) => row(entry, part)));
    clear.hidden = all.length > 0;
  };
  news.addEventListener("change", show);
  await show();
}

function row(entry, part) {
  const { code, verdict } = entry.shown, stuck = entry.state === "needs_attention", mine = entry.who === me();
  const age = span(Math.max(0, Date.now() - entry.made_at));
  const made = part("entry", {
    title: verdict, code: spaced(code),
    note: mine ? `From ${age} ago. ${stuck ? "The service refused it:" : "It goes out by itself."}`
      : `From ${age} ago, kept by ${entry.name || "somebody else"}, who is not signed in here.`,
    problem: entry.problem, mine: `I am ${entry.name || "that person"}: send it`,
  });
  const button = (name, shown, act) => Object.assign(made.querySelector(`[data-${name}]`), { hidden: !shown, onclick: act });
  const there = made.querySelector("[data-there]"); // what the service has under this id, which no other entry can have
  Object.assign(there, { hidden: !(mine && entry.there && !entry.shown.what), href: `/tests/${entry.id}` });
  button("again", mine && stuck && !entry.there, () => retry(entry.id));
  button("edit", mine && stuck && !entry.there && entry.shown.fields.length > 0, () => edit(entry));
  button("mine", !mine && Boolean(me()), () => takeOver(entry.id));
  button("discard", stuck || !mine, (event) => twice(event.target, entry.shown.what ?? "test", () => discard(entry.id)));
  return made;
}

/* Open its form with what was entered; what is saved there replaces it, under the same id. */
function edit(entry) {
  sessionStorage.setItem(UNDONE, JSON.stringify({ code: entry.shown.code, fields: entry.shown.fields, replaces: entry.id }));
  location.assign(entry.shown.back);
}

/* A button for what cannot be undone has to be pressed twice. */
function twice(button, what, act) {
  if (button.dataset.sure) return void act();
  button.dataset.sure = "yes";
  button.textContent = `Throw this ${what} away for good`;
}
