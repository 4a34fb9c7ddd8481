/* Swap now without a signal: the bad one, then the spare; scanned, typed, or one that is known to be a spare and to fit. */

import { kept } from "../outbox/deeds.js";
import { spaced } from "../outbox/status.js";
import { lineOf, pulls, sessions } from "./package.js";
import { camera, go, part, show } from "./views.js";

/* `asked` are the address's own: `bad` and `spare`, and `code` for what was scanned last. */
export async function swap(asked) {
  const code = asked.get("code") ?? "", bad = asked.get("bad") ?? code, spare = asked.get("spare") ?? (asked.get("bad") ? code : "");
  const made = part("swap"), form = made.querySelector("form");
  form.elements.bad.value = bad;
  form.elements.typed.value = spare;
  if (bad) made.querySelector("[data-live]").dataset.live = `/swap?bad=${bad}`;
  if (bad && !spare) made.querySelector("[data-list]").append(...(await fitting(bad)).map((line) => offer(bad, line)));
  show(made, part("swapnow"), go("What is on this phone", "/offline"));
  const { codeIn } = await camera();
  form.onsubmit = async (event) => {
    event.preventDefault();
    const done = await kept(form, (typed) => codeIn(`/t/${typed}`) === typed);
    if (done) location.assign(`/t/${done.bad}`);
  };
}

/* The spares that the pull list has for it, else those of its wiring that were taken along. */
async function fitting(bad) {
  const listed = (await pulls().catch(() => [])).flatMap((list) => list.items).find((line) => line.code === bad && line.spare);
  if (listed) return [{ code: listed.spare, name: "Its spare by the pull list", place: "" }];
  const wiring = (await lineOf(bad).catch(() => null))?.line.wiring;
  const lines = (await sessions().catch(() => [])).flatMap((pack) => pack.lines);
  const spares = lines.filter((line) => line.state === "spare" && line.wiring === wiring && line.code !== bad);
  return [...new Map(spares.map((line) => [line.code, line])).values()];
}

function offer(bad, line) {
  const row = part("line", { title: line.name, code: spaced(line.code), note: line.place });
  row.querySelector("a").href = `/swap?bad=${bad}&spare=${line.code}`;
  return row;
}
