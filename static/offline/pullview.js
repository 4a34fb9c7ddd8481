/* The pull list without a signal, as it was saved: every line can be ticked, by its box or by scanning its tag. */

import { spaced, span } from "../outbox/status.js";
import { pullLines, pulls } from "./package.js";
import { bind, shown } from "./ticks.js";
import { camera, go, part, show, unknown } from "./views.js";

/* The list of an event, or the one taken along last. With a `code`, its line comes first; where `only` lists that know
   the code count, the answer says whether there is one. */
export async function pullList(event, code, only = false) {
  const lists = await pulls().catch(() => []);
  const list = event ? lists.find((each) => each.event.id === event) : lists[0];
  if (!list) return only ? false : unknown("This pull list was not taken along, and there is no signal to load it.");
  const lines = await pullLines(list), named = lines.find((line) => line.code === code || (line.spare === code && !line.done));
  if (only && !named) return false;
  const made = part("pull", { title: list.event.name, when: span(Date.now() - list.loaded_at) });
  const done = lines.filter((line) => line.done).length;
  made.querySelector(".progress .num").textContent = `${done} of ${lines.length} done`;
  Object.assign(made.querySelector("progress"), { max: Math.max(1, lines.length), value: done });
  const order = named ? [named, ...lines.filter((line) => line !== named)] : lines;
  made.querySelector("[data-list]").append(...order.map((line) => row(line, list.event.id)));
  show(made, go("What is on this phone", "/offline"));
  bind(document.querySelector("[data-view] .pull"), shown);
  await camera();
  return true;
}

function row(line, event) {
  const spare = line.comes_out ? line.spare : null;
  const made = part("pullline", {
    title: line.name, code: spaced(line.code), why: line.why.join(" "),
    place: [line.place, line.place_b].filter(Boolean).join(" to ") || "No place", do: part(line.action, {}, "do"),
  });
  const from = (code, place) => spaced(code) + (place ? ` from ${place}` : "");
  if (spare) made.querySelector(".do").append(` Goes in: ${from(spare, line.spare_place)}`);
  else if (line.comes_out && !line.done && line.unproven?.length) {
    made.querySelector(".do").append(` No proven spare fits. Not proven, test it first: ${line.unproven.map((one) => from(one.code, one.place)).join(", ")}.`);
  } else if (line.comes_out && !line.done) made.querySelector(".do").append(" No spare fits.");
  const form = made.querySelector("form");
  form.action = `/pull/${event}/ticks`;
  form.dataset.tick = JSON.stringify({ event, item: line.code, action: line.action, spare, why: line.why });
  form.querySelector("span").textContent = `Tick ${line.code}`;
  if (line.done) {
    made.querySelector("li").classList.add("is-done");
    form.replaceWith(Object.assign(document.createElement("span"), { className: "box is-ticked", textContent: "✓" }));
  }
  return made;
}
