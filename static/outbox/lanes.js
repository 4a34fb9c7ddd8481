/* A multicore was tested lane by lane: its form, kept without a signal. */

import { Refused, deeds } from "./deeds.js";

deeds.lanes = (form, at) => {
  const { item, through, session, wiring, lanes } = JSON.parse(form.dataset.facts), data = new FormData(form);
  const { joined, probed, verdict } = laneByLane(lanes, data);
  const evidence = data.get("flexed") === "yes" ? [{ class: "flexed", end: null, note: "" }] : [];
  const body = { item, through, session, wiring, joined, probed, evidence, note: String(data.get("note") ?? "").trim(), tested_at: at };
  return ["/api/v1/tests", body, {
    code: item, verdict, back: location.pathname + location.search,
    words: verdict === "Fail" ? ["Do not plug it in. One of these pieces is bad: test each alone."] : [],
  }];
};

/* What was found for each lane, as groups of joined contacts: the same as the service reads from this form
   (service/sessions/lanes/core.py). `lanes` has, by name, the contacts of each lane at both ends: 1, 2 and 3. */
function laneByLane(lanes, data) {
  const joined = [], probed = [], shown = Object.keys(lanes).map((name) => data.get(`lane-${name}`) ?? "skip");
  Object.entries(lanes).forEach(([name, [a, b]], at) => {
    const open = data.getAll(`open-${name}`), touching = data.getAll(`touch-${name}`), reversed = data.has(`reversed-${name}`);
    const marked = open.length || touching.length || reversed;
    if (marked && shown[at] !== "fail") throw new Refused(`Something is ticked as found on lane ${name}. Mark it as failed, or take the ticks back.`);
    if (shown[at] === "skip") return;
    probed.push(...a, ...b);
    if (shown[at] === "fail" && !marked) return; // dead
    const arrives = reversed ? [0, 2, 1] : [0, 1, 2];
    joined.push(...[0, 1, 2].filter((one) => !open.includes(String(one + 1))).map((one) => [a[one], b[arrives[one]]]));
    joined.push(...touching.map((pair) => pair.split("-").map((one) => a[one - 1])));
  });
  if (!probed.length) throw new Refused("Say of at least one lane whether it passed.");
  return { joined, probed, verdict: shown.includes("fail") ? "Fail" : shown.includes("skip") ? "Partial" : "Pass" };
}
