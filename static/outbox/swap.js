/* A spare went in for what went bad: the form of the swap, kept without a signal. */

import { Refused, deeds } from "./deeds.js";
import { spaced } from "./status.js";

deeds.swap = (form, at, read) => {
  const data = new FormData(form), bad = read(data.get("bad")), spare = read(data.get("typed") || data.get("spare") || "");
  if (bad === spare) throw new Refused(`${spaced(spare)} is the bad one itself. Name the spare that goes in for it.`);
  // Even if something speaks against it, the spare is in place by now: `anyway`.
  return ["/api/v1/swaps", { bad, spare, at, anyway: true }, {
    what: "swap", code: bad, verdict: "Swap", back: `/swap?bad=${bad}&spare=${spare}`,
    words: [`${spaced(spare)} is in its place. Put tape round the bad one and lay it aside.`],
  }];
};
