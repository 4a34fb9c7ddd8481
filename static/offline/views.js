/* The views of the offline page. Their words and markup are the parts of templates/home/offline/shell.html. */

import { kept } from "../outbox/deeds.js";
import { spaced, span } from "../outbox/status.js";
import { arm } from "./arming.js";
import { bind } from "./form.js";
import "./told.js"; // so that it is cached with this page: the form loads it when it needs it
import { checks, pages } from "./checks.js";
import { lineOf, linesOf, next, pulls, session as sessionOf, sessions, stateOf } from "./package.js";
import { showEntries } from "./waiting.js";

const view = document.querySelector("[data-view]"), actions = document.querySelector("[data-actions]");
const where = (line) => [line.place, line.place_b].filter(Boolean).join(" to ") || "No place";

/* A copy of a part, filled with text or elements: {title: "…"} goes into [data-title]. */
export function part(name, holes = {}, kind = "part") {
  /** @type {HTMLTemplateElement} */
  const template = document.querySelector(`template[data-${kind}="${name}"]`);
  const made = /** @type {DocumentFragment} */ (template.content.cloneNode(true));
  for (const [hole, value] of Object.entries(holes)) made.querySelector(`[data-${hole}]`)?.replaceChildren(value ?? "");
  return made;
}

export function show(made, ...below) {
  view.replaceChildren(made);
  actions.replaceChildren(...below);
  document.title = view.querySelector("h1").textContent;
}

export function go(words, href) {
  const made = part("go", { words });
  made.querySelector("a").href = href;
  return made;
}

/* Everything that is on this phone, in place of a page that is not; `words` say which page. */
export async function unknown(words) {
  const away = part("away");
  away.querySelector("a").href = location.origin + location.pathname + location.search; // a path may begin like a host
  Object.assign(away.querySelector("button"), { hidden: history.length < 2, onclick: () => history.back() });
  await home(part("unknown", { words }), away);
}

export async function home(above = part("title"), ...below) {
  const packs = await sessions().catch(() => []);
  const made = part("home");
  made.prepend(above);
  made.querySelector("[data-none]").hidden = packs.length > 0;
  made.querySelector("[data-list]").append(...await Promise.all(packs.map(async (pack) => {
    const lines = await linesOf(pack), done = lines.filter((line) => line.done).length;
    const row = part("line", { title: pack.session.title, note: `${done} of ${lines.length} tested, taken along ${span(Date.now() - pack.loaded_at)} ago` });
    row.querySelector("a").href = `/sessions/${pack.session.id}`;
    return row;
  })));
  made.querySelector("[data-find]").onsubmit = (event) => {
    event.preventDefault();
    const { elements } = /** @type {HTMLFormElement} */ (event.target);
    location.assign(`/find?code=${encodeURIComponent(elements.code.value)}`);
  };
  for (const list of await pulls().catch(() => [])) {
    const row = part("line", { title: `Pull list: ${list.event.name}`, note: `taken along ${span(Date.now() - list.loaded_at)} ago` });
    row.querySelector("a").href = `/pull/${list.event.id}`;
    made.querySelector("[data-list]").append(row);
    made.querySelector("[data-none]").hidden = true;
  }
  const along = [...(await checks().catch(() => [])).map((pack) => [`Line check, ${pack.name}`, `/line-checks/${pack.check.id}`, pack.loaded_at]),
    ...(await pages().catch(() => [])).filter(({ address }) => address.startsWith("/inputs/")).map((page) => [page.title, page.address, page.loaded_at])];
  for (const [title, address, at] of along) {
    const row = part("line", { title, note: `taken along ${span(Date.now() - at)} ago` });
    row.querySelector("a").href = address;
    made.querySelector("[data-list]").append(row);
  }
  show(made, ...below);
  await showEntries(view, part);
  await camera();
}

/* Start the camera of the view and return its module, which looks for its panel when it is loaded. */
export const camera = () => import(view.querySelector("[data-camera]").dataset.camera);

export async function session(id) {
  const pack = await sessionOf(id).catch(() => null);
  if (!pack) return unknown("This session was not taken along, and there is no signal to load it.");
  const lines = await linesOf(pack), done = lines.filter((line) => line.done).length;
  const made = part("session", { title: pack.session.title, when: span(Date.now() - pack.loaded_at) });
  made.querySelector(".progress .num").textContent = `${done} of ${lines.length} tested`;
  Object.assign(made.querySelector("progress"), { max: Math.max(1, lines.length), value: done });
  made.querySelector("[data-list]").append(...lines.map((line) => {
    const row = part("line", { title: line.name, code: spaced(line.code), note: where(line) });
    row.querySelector("a").href = line.done ? `/t/${line.code}` : `/t/${line.code}/test?session=${id}`;
    if (line.done) row.querySelector("[data-note]").prepend(part(line.done, {}, "verdict"), " ");
    return row;
  }));
  const open = next(lines, null);
  return show(made, open ? go(`Next: ${open.name} ${spaced(open.code)}`, `/t/${open.code}/test?session=${id}`) : go("What is on this phone", "/offline"));
}

export async function item(code, scanned) {
  const match = await lineOf(code).catch(() => null);
  if (!match) {
    await unknown(`${spaced(code)} is not among what you took along, and there is no signal to look it up.`);
    if ((await camera()).codeIn(`/t/${code}`)) view.querySelector(".notice").after(deeds(code));
    return undefined;
  }
  const line = (await linesOf(match.pack)).find((each) => each.code === code), verdict = line.done ?? line.last, state = await stateOf(line);
  const made = part("item", {
    title: line.name, code: spaced(code), place: where(line), state: part(state, {}, "state"),
    last: verdict ? part(verdict, {}, "verdict") : "Never tested.", when: line.done ? "in this session" : "",
  });
  made.querySelector("[data-out]").hidden = !["quarantined", "in_repair"].includes(state);
  made.append(deeds(code));
  return show(made, go("Test it", `/t/${code}/test?session=${match.pack.session.id}${scanned ? "&scanned=1" : ""}`), go("The worklist", `/sessions/${match.pack.session.id}`));
}

/* What can be done about an item that is known by its code only. */
function deeds(code) {
  const made = part("deeds"), form = made.querySelector("form");
  form.dataset.item = code;
  made.querySelector("a").href = `/swap?bad=${code}`;
  form.onsubmit = async (event) => {
    event.preventDefault();
    if (await kept(form)) form.remove();
  };
  return made;
}

export async function nextForm(id, after) {
  const pack = await sessionOf(id).catch(() => null);
  const open = pack && next(await linesOf(pack), after);
  history.replaceState(null, "", open ? `/t/${open.code}/test?session=${id}` : `/sessions/${id}`);
  return open ? testForm(open.code, id) : session(id);
}

export async function testForm(code, id, scanned) {
  const match = await lineOf(code, id).catch(() => null);
  if (!match) return unknown(`${spaced(code)} is not among what you took along. Write it down, and log it with a signal.`);
  const { pack, line } = match, wiring = pack.wirings[line.wiring], [a, b] = line.ends;
  const made = part("form", {
    title: line.name, first: code.slice(0, 3), second: code.slice(3), length: line.length, place: where(line), a, b,
    state: part(await stateOf(line), {}, "state"),
  });
  made.querySelector("[data-form]").innerHTML = wiring.form; // the service's own form, as it was saved
  show(made, part(scanned ? "scanned" : "verdicts"));
  bind(document.getElementById("test"), {
    code, name: line.name, wiring: line.wiring, through: [], session: pack.session.id, facts: wiring.facts,
    next: `/sessions/${pack.session.id}/next?after=${code}`,
  });
  arm();
}
