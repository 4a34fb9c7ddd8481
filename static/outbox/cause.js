/* What silenced a channel was found: the form of the cause, kept without a signal. */

import { Refused, deeds } from "./deeds.js";

deeds.cause = (form, at) => {
  const { check, channel, title, codes } = JSON.parse(form.dataset.facts), data = new FormData(form);
  const what = String(data.get("what")), evidence = String(data.get("evidence") ?? ""), item = codes[what] ?? null;
  if (evidence && !item) throw new Refused("Something can be seen on an item with a tag only. Choose “Nothing yet”, or the item that it was.");
  const body = { check, channel, what, evidence, end: data.get("end") || null, note: String(data.get("note") ?? "").trim(), at };
  return ["/api/v1/causes", body, {
    what: "cause", code: `Channel ${title}`, item, verdict: "Cause", back: location.pathname + location.search,
    words: [evidence ? "Do not plug the item in. Swap it, then listen to the channel again." : "Listen to the channel again."],
  }];
};
