/* Swap now without a signal: the bad one, then the spare; scanned, typed, or one that is known to be a spare and to fit. */

import { kept } from "../outbox/deeds.js";
import { entries } from "../outbox/outbox.js";
import { spaced } from "../outbox/status.js";
import "../outbox/swap.js";
import { lineOf, pulls, sessions, stateOf } from "./package.js";
import { camera, go, part, show } from "./views.js";

/* `address` has the query of the address: `bad`, `spare`, `code` for what was scanned last, and `check` for the line check in which
   the bad one was found. */
export async function swap(address) {
  const check = address.get("check"), more = check ? `&check=${encodeURIComponent(check)}` : "";
  const code = address.get("code") ?? "", bad = address.get("bad") ?? code, spare = address.get("spare") ?? (address.get("bad") ? code : "");
  const made = part("swap"), form = made.querySelector("form");
  form.elements.bad.value = bad;
  form.elements.typed.value = spare;
  if (bad) made.querySelector("[data-live]").dataset.live = `/swap?bad=${bad}${more}`;
  if (bad && !spare) made.querySelector("[data-list]").append(...(await fitting(bad)).map((line) => offer(`${bad}${more}`, line)));
  show(made, part("swapnow"), go("What is on this phone", "/offline"));
  const { codeIn } = await camera();
  form.onsubmit = async (event) => {
    event.preventDefault();
    const done = await kept(form, (typed) => codeIn(`/t/${typed}`) === typed);
    if (done) location.assign(check ? `/line-checks/${encodeURIComponent(check)}` : `/t/${done.bad}`);
  };
}

const UNPROVEN = "Not proven: test it first.";

/* The spares that the pull list has for it, else those of its wiring that were taken along and are long enough, those that
   are proven first; none that failed or went in somewhere on this phone. */
async function fitting(bad) {
  const listed = (await pulls().catch(() => [])).flatMap((list) => list.items).find((line) => line.code === bad && !line.done_at);
  const named = listed?.spare ? [{ code: listed.spare, name: "Its spare by the pull list", place: listed.spare_place ?? "" }]
    : (listed?.unproven ?? []).map(({ code, place }) => ({ code, name: UNPROVEN, place }));
  const mine = (await lineOf(bad).catch(() => null))?.line;
  const lines = mine ? (await sessions().catch(() => [])).flatMap((pack) => pack.lines) : [];
  const fits = (line) => line.wiring === mine.wiring && (line.length_mm ?? 0) >= (mine.length_mm ?? 0) && line.code !== bad;
  const along = lines.filter((line) => line.state === "spare" && fits(line)).sort((one, other) => Number(Boolean(other.proven)) - Number(Boolean(one.proven)))
    .map((line) => ({ ...line, place: [line.place, line.proven ? "" : UNPROVEN].filter(Boolean).join(". ") }));
  const gone = new Set((await entries()).map((entry) => entry.body.spare));
  const candidates = [...new Map((named.length ? named : along).map((line) => [line.code, line])).values()];
  const still = await Promise.all(candidates.map(async (line) => !gone.has(line.code) && !OUT.includes(await stateOf(line))));
  return candidates.filter((_, at) => still[at]);
}

const OUT = ["quarantined", "suspect", "in_service"];

function offer(bad, line) {
  const row = part("line", { title: line.name, code: spaced(line.code), note: line.place });
  row.querySelector("a").href = `/swap?bad=${bad}&spare=${line.code}`;
  return row;
}
