/* What is done at the truck besides tests: it crackled, and a spare that went in for what went bad. It is done, signal or
   not, so without one it is kept on this phone and the service is told later. A form names what it is for as `data-deed`. */

import { add } from "./outbox.js";
import { say } from "./status.js";
import { StorageRefused } from "./store.js";

const spaced = (code) => `${code.slice(0, 3)} ${code.slice(3)}`;

class Refused extends Error {}

const DEEDS = {
  crackled(form, read) {
    const item = read(form.dataset.item);
    return ["/api/v1/suspects", { item }, {
      what: "crackle", code: item, verdict: "Crackle", back: `/t/${item}`,
      words: ["Suspect from now on. A pass with both ends flexed clears it."],
    }];
  },
  swap(form, read) {
    const data = new FormData(form), bad = read(data.get("bad")), spare = read(data.get("typed") || data.get("spare") || "");
    if (bad === spare) throw new Refused(`${spaced(spare)} is the bad one itself. Name the spare that goes in for it.`);
    // Whatever speaks against it, the spare is in its place by now: `anyway`.
    return ["/api/v1/swaps", { bad, spare, anyway: true }, {
      what: "swap", code: bad, verdict: "Swap", back: `/swap?bad=${bad}&spare=${spare}`,
      words: [`${spaced(spare)} is in its place. Put tape round the bad one and lay it aside.`],
    }];
  },
};

/* Keep what a form says: what is sent of it, or null where it cannot be kept, which is said. `isCode` tells codes from
   what can be none. */
export async function kept(form, isCode = (code) => code.length === 6) {
  try {
    const [url, body, shown] = DEEDS[form.dataset.deed](form, (text) => codeIn(text, isCode));
    await add(url, { ...body, at: new Date().toISOString() }, { ...shown, fields: [] });
    navigator.vibrate?.(40);
    scrollTo(0, 0); // to where it is said
    return body;
  } catch (error) {
    if (error instanceof Refused) say(error.message);
    else if (error instanceof StorageRefused) say("This phone keeps nothing for websites. Write it down, and enter it once there is a signal.");
    else throw error;
    return null;
  }
}

/* The code in what was typed or scanned: in any case, with spaces, or at the end of a tag's address. */
function codeIn(text, isCode) {
  const code = text.split("/").pop().toUpperCase().replace(/[^0-9A-Z]/g, "");
  if (!isCode(code)) throw new Refused(text ? `“${text}” is no code: look at the tag again.` : "Name both: the six characters of each tag.");
  return code;
}
