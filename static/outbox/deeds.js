/* What is done at the truck, signal or not: it crackled, a spare went in for what went bad (swap.js), a multicore was
   tested lane by lane (lanes.js). Without a signal it is kept on this phone, and the service is told later. A form says
   what it is as `data-deed`. */

import { add } from "./outbox.js";
import { say } from "./status.js";
import { StorageRefused } from "./store.js";

export class Refused extends Error {}

/** By its name, what turns a form, its time and a reader of codes into an address, what is sent there, and what is shown.
   @type {Record<string, (form: any, at: string, read: (text: any) => string) => [string, any, any]>} */
export const deeds = {
  crackled(form, at, read) {
    const item = read(form.dataset.item);
    return ["/api/v1/suspects", { item, at }, {
      what: "crackle", code: item, verdict: "Crackle", back: `/t/${item}`,
      words: ["Suspect from now on. A pass with both ends flexed clears it."],
    }];
  },
};

/* Save what a form says; returns what is sent, or null if it cannot be saved, and says so. `isCode` tells codes from
   what can be none. */
export async function kept(form, isCode = (code) => code.length === 6) {
  if (!(form.dataset.deed in deeds)) return null; // its script did not come
  try {
    const [url, body, shown] = deeds[form.dataset.deed](form, new Date().toISOString(), (text) => codeIn(text, isCode));
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
