/* The test form with the outbox: a verdict is saved on the phone at once, and the next item is opened.
   It can be taken back for ten seconds, so nothing is asked. Where the phone keeps nothing, the form is sent as ever. */

import { add, goWithin } from "../outbox/outbox.js";
import { UNDONE, made, say } from "../outbox/status.js";
import { newId } from "../outbox/sender.js";
import { StorageRefused, taken } from "../outbox/store.js";
import { chooseLanes } from "./lanes.js";
import { Contradiction, readForm } from "./readings.js";
import { VERDICTS, lookUp, ticked } from "./verdict.js";

const LEFT = "coilbook.left"; // the marks on a form that was left without a verdict, restored when it is opened again
const TIMEOUT = 2500; // ms that the service may take to say which item is next

/* `test` says what is tested, {code, name, wiring, through, session, facts}, and where it goes on: `next` works without the
   service; `claim`, where it is given, is asked first, and keeps two helpers from testing the same item. */
export function bind(form, test) {
  let busy = false, plain = false;
  const replaces = fillAgain(form, test, chooseLanes(form, test.facts));
  const table = taken.get(`table:${test.wiring}`).catch(() => null); // large, so it is read before it is needed
  // What shows a fail is loaded once somebody begins to mark what was found: saving does not wait for a signal.
  const teller = once(() => import("./told.js").catch(() => null));
  const loading = once(async () => await table ?? (await teller())?.tableOf(test.wiring).catch(() => null));
  form.querySelector("details").addEventListener("toggle", loading);
  form.addEventListener("submit", async (event) => {
    if (plain) return;
    event.preventDefault();
    if (busy || event.submitter?.name !== "verdict") return;
    busy = true;
    const data = new FormData(form);
    data.set("verdict", event.submitter.value);
    let kept;
    try {
      kept = await keep(test, data, table, replaces);
    } catch (error) {
      busy = false;
      if (error instanceof Contradiction) return complain(form, error.message);
      if (!(error instanceof StorageRefused)) throw error;
      plain = true;
      form.append(made("input", { type: "hidden", name: "sure", value: "yes" })); // a button that is not armed does not submit
      say("This phone keeps nothing for websites, so the test was not put aside. It is being sent now, and needs a signal.");
      // Not at once: while this submit event is being dispatched, the browser ignores another.
      return void setTimeout(() => event.submitter.click());
    }
    navigator.vibrate?.(40);
    const module = kept.shown.verdict === VERDICTS.fail ? await teller() : null;
    if (!module) return goOn(test);
    return module.tell(test, kept, loading().then((known) => findings(test, data, known)), () => goOn(test));
  });
  // A page that comes back from the browser's own cache works like a new one.
  addEventListener("pageshow", () => { busy = false; sessionStorage.removeItem(LEFT); });
  addEventListener("pagehide", () => {
    if (!form.isConnected || busy || plain || test.through.length || !form.querySelector("details").open) return;
    sessionStorage.setItem(LEFT, JSON.stringify({ code: test.code, fields: fieldsOf(new FormData(form)) }));
  });
}

/* The faults that a form shows, as far as known here: {faults, whole}; `whole` is false if only the service knows all. */
function findings(test, data, table) {
  if (!table) return { faults: [], whole: false };
  const { joined, probed } = readForm(test.facts, data), seen = lookUp(table, joined, probed);
  return { faults: [...(seen?.faults ?? []), ...ticked(table, data.getAll("evidence"), data.get("at_end") ?? "")], whole: Boolean(seen) };
}

const once = (work) => { let done = null; return () => (done ??= work()); };

async function goOn(test) {
  const url = await claimed(test) ?? test.next;
  goWithin();
  location.assign(url);
}

/* The form of the item that the service gives this helper next; null if it does not answer. */
async function claimed(test) {
  if (!test.claim) return null;
  const cut = new AbortController(), timer = setTimeout(() => cut.abort(), TIMEOUT);
  try {
    const body = new URLSearchParams({ op: newId(), after: test.code });
    const answer = await fetch(test.claim, { method: "POST", body, signal: cut.signal });
    return answer.ok && answer.redirected ? answer.url : null;
  } catch {
    return null;
  } finally {
    clearTimeout(timer);
  }
}

async function keep(test, data, table, replaces) {
  const { joined, probed, evidence } = readForm(test.facts, data);
  const known = await table, result = known ? lookUp(known, joined, probed) : null;
  const bad = evidence.some((one) => one.class !== "flexed");
  const pressed = data.get("verdict") === "pass" && (data.has("skip") || data.has("skip_lane")) ? "partial" : data.get("verdict");
  const verdict = bad ? "fail" : result?.verdict ?? pressed;
  const body = {
    item: test.code, through: test.through, session: test.session, tested_at: new Date().toISOString(),
    method: data.get("method") || "two_ended", joined, probed, evidence, note: (data.get("note") || "").trim(),
    ...(data.has("through_lane") && { lane: data.get("through_lane") }),
  };
  return add("/api/v1/tests", body, {
    code: test.code, verdict: VERDICTS[verdict], words: inWords(verdict, result),
    look: verdict === "fail" && result ? result.faults.map((fault) => fault.look_first) : [], fields: fieldsOf(data),
    back: addressOf(test),
  }, replaces);
}

const fieldsOf = (data) => [...data].filter(([name, value]) => name !== "op" && value !== "");

/* The address of this form: the items that it goes through may have been named on the page. */
function addressOf(test) {
  const url = new URL(location.href);
  if (test.through.length) url.searchParams.set("through", test.through.join(" "));
  return url.pathname + url.search;
}

function inWords(verdict, result) {
  if (verdict === "pass") return [];
  if (verdict === "partial") return ["Good as far as it was tested. It still needs a full pass."];
  const named = (result?.faults ?? []).map(({ title }) => `${title}.`);
  return ["Do not plug it in.", ...named]; // the page below says what is not known yet
}

/* Fill in an entry that was taken back, or is edited after a refusal, and return the id that this replaces; or what
   was marked before the page was left, where the browser's own way leads back to it. What is
   of another item, whose form did not open, belongs in no other. */
function fillAgain(form, test, showLanes) {
  const back = /** @type {PerformanceNavigationTiming} */ (performance.getEntriesByType("navigation")[0])?.type !== "navigate";
  const text = sessionStorage.getItem(UNDONE) ?? (back ? sessionStorage.getItem(LEFT) : null);
  for (const key of [UNDONE, LEFT]) sessionStorage.removeItem(key);
  if (!text) return undefined;
  const { code, fields, replaces } = JSON.parse(text);
  if (code !== test.code) return undefined;
  showLanes(lanesIn(test.facts, fields));
  for (const control of form.elements) {
    if (!control.name || control.type === "hidden") continue;
    const values = fields.filter(([name]) => name === control.name).map(([, value]) => value);
    if (control.type === "radio" || control.type === "checkbox") control.checked = values.includes(control.value);
    else if (control.tagName !== "BUTTON") control.value = values[0] ?? control.value;
  }
  for (const part of form.querySelectorAll("details")) part.open = Boolean(part.querySelector("[type=checkbox]:checked"));
  form.querySelector("details").open = true;
  return replaces;
}

/* The lanes that were shown, and any other lane with a mark. */
function lanesIn(facts, fields) {
  const wrong = new Set(fields.filter(([name, value]) => facts.rows[name] && facts.rows[name][1] !== value).map(([name]) => facts.rows[name][2]));
  const chosen = new Set(fields.filter(([name]) => name === "lane").map(([, lane]) => lane));
  return Object.keys(facts.lanes).filter((lane) => chosen.has(lane) || facts.lanes[lane].some((wire) => wrong.has(wire)));
}

function complain(form, sentence) {
  document.querySelector("[data-complaint]")?.remove();
  const notice = Object.assign(document.createElement("div"), { className: "notice is-fail", tabIndex: -1 });
  notice.setAttribute("role", "alert");
  notice.dataset.complaint = "";
  notice.append(Object.assign(document.createElement("p"), { textContent: sentence }));
  form.before(notice);
  form.querySelector("details").open = true;
  notice.focus();
}
