/* What is done at the truck, signal or not: it crackled, a spare went in for what went bad, a multicore was tested lane by
   lane. Without a signal it is kept on this phone, and the service is told later. A form says what it is as `data-deed`. */

import { add } from "./outbox.js";
import { say, spaced } from "./status.js";
import { StorageRefused } from "./store.js";

class Refused extends Error {}

const DEEDS = {
  crackled(form, at, read) {
    const item = read(form.dataset.item);
    return ["/api/v1/suspects", { item, at }, {
      what: "crackle", code: item, verdict: "Crackle", back: `/t/${item}`,
      words: ["Suspect from now on. A pass with both ends flexed clears it."],
    }];
  },
  swap(form, at, read) {
    const data = new FormData(form), bad = read(data.get("bad")), spare = read(data.get("typed") || data.get("spare") || "");
    if (bad === spare) throw new Refused(`${spaced(spare)} is the bad one itself. Name the spare that goes in for it.`);
    // Even if something speaks against it, the spare is in place by now: `anyway`.
    return ["/api/v1/swaps", { bad, spare, at, anyway: true }, {
      what: "swap", code: bad, verdict: "Swap", back: `/swap?bad=${bad}&spare=${spare}`,
      words: [`${spaced(spare)} is in its place. Put tape round the bad one and lay it aside.`],
    }];
  },
  lanes(form, at) {
    const { item, through, session, wiring, lanes } = JSON.parse(form.dataset.facts), data = new FormData(form);
    const { joined, probed, verdict } = laneByLane(lanes, data);
    const evidence = data.get("flexed") === "yes" ? [{ class: "flexed", end: null, note: "" }] : [];
    const body = { item, through, session, wiring, joined, probed, evidence, note: String(data.get("note") ?? "").trim(), tested_at: at };
    return ["/api/v1/tests", body, {
      code: item, verdict, back: location.pathname + location.search,
      words: verdict === "Fail" ? ["Do not plug it in. One of these pieces is bad: test each alone."] : [],
    }];
  },
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

/* Save what a form says; returns what is sent, or null if it cannot be saved, and says so. `isCode` tells codes from
   what can be none. */
export async function kept(form, isCode = (code) => code.length === 6) {
  try {
    const [url, body, shown] = DEEDS[form.dataset.deed](form, new Date().toISOString(), (text) => codeIn(text, isCode));
    await add(url, body, { ...shown, fields: [] });
    navigator.vibrate?.(40);
    scrollTo(0, 0); // to the message
    return body;
  } catch (error) {
    if (error instanceof Refused) say(error.message);
    else if (error instanceof StorageRefused) say("This phone keeps nothing for websites. Write it down, and enter it once there is a signal.");
    else throw error;
    return null;
  }
}

/* The code in typed or scanned text: upper or lower case, with spaces, or at the end of a tag's address. */
function codeIn(text, isCode) {
  const code = text.split("/").pop().toUpperCase().replace(/[^0-9A-Z]/g, "");
  if (!isCode(code)) throw new Refused(text ? `“${text}” is no code: look at the tag again.` : "Name both: the six characters of each tag.");
  return code;
}
