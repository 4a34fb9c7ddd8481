/* Of a hub or trunk only lanes with trouble are on the form; a tap on their number adds them, or takes away one of which
   nothing is marked. What a lane is asked comes from `facts`, and is the same as service/testlog/sheet.py makes of it. */

import { made } from "../outbox/status.js";

const MANY = 6; // choices: more than these go into a list

/* Let lanes be chosen on a form, if it has any. Returns a function that shows the named ones. */
export function chooseLanes(form, facts) {
  const buttons = [...form.querySelectorAll("[data-lane]")];
  const chosen = new Set([...form.querySelectorAll("[name=lane]")].map((each) => each.value));
  const rowOf = Object.fromEntries(Object.entries(facts.rows).map(([key, row]) => [row[2] ?? row[0], key])); // by conductor, or by unused contact
  const wiresOf = (lane) => facts.wires.filter(([name]) => facts.lanes[lane].includes(name));
  const ordered = (contacts) => facts.contacts.filter((each) => contacts.includes(each));

  function update() {
    const was = new FormData(form), touching = was.getAll("touch").map((pair) => String(pair).split("+"));
    const lanes = buttons.map((each) => each.dataset.lane).filter((lane) => chosen.has(lane));
    const wires = lanes.flatMap(wiresOf), destinations = wires.map((wire) => wire[2]), contacts = wires.flatMap(([, a, b]) => [a, b]);
    const apart = facts.wires.filter(([name]) => !Object.values(facts.lanes).some((part) => part.includes(name)));
    const idle = facts.contacts.filter((each) => rowOf[each]);
    const reach = (key, options) => row(key, facts.rows[key], ordered(options), was.get(key));
    const pairs = (end) => {
      const groups = (lanes.length > 2 ? lanes.map(wiresOf) : [wires]).map((group) => ordered(group.map((wire) => wire[end])));
      const here = groups.flat(), offered = groups.flatMap(twos);
      return [...offered, ...touching.filter((pair) => pair.every((each) => here.includes(each)) && !offered.some((each) => same(each, pair)))];
    };
    const filled = {
      rows: wires.map(([name]) => reach(rowOf[name], destinations)),
      aside: [...apart.map(([name, , b]) => reach(rowOf[name], [b])), ...idle.map((each) => reach(rowOf[each], [...destinations, ...facts.loose]))],
      touch_a: pairs(1).map((pair) => touch(pair, touching)),
      touch_b: pairs(2).map((pair) => touch(pair, touching)),
      shells: facts.beside.filter(([contact]) => contacts.includes(contact)).map((pair) => touch(pair, touching)),
    };
    for (const [name, parts] of Object.entries(filled)) form.querySelector(`[data-fill="${name}"]`).replaceChildren(...parts);
    for (const part of form.querySelectorAll("[data-sheet]")) part.hidden = !part.querySelector("[data-fill] > *") || !lanes.length;
    for (const each of form.querySelectorAll("[name=lane]")) each.remove();
    form.append(...lanes.map((lane) => made("input", { type: "hidden", name: "lane", value: lane })));
    for (const button of buttons) button.setAttribute("aria-pressed", String(chosen.has(button.dataset.lane)));
  }

  function isMarked(lane) {
    const data = new FormData(form), contacts = wiresOf(lane).flatMap(([, a, b]) => [a, b]);
    return wiresOf(lane).some(([name]) => data.get(rowOf[name]) !== facts.rows[rowOf[name]][1])
      || data.getAll("touch").some((pair) => String(pair).split("+").some((each) => contacts.includes(each)));
  }

  for (const button of buttons) {
    button.addEventListener("click", (event) => {
      event.preventDefault();
      const { lane } = button.dataset;
      if (!chosen.has(lane)) chosen.add(lane);
      else if (!isMarked(lane)) chosen.delete(lane);
      update();
    });
  }
  return (lanes) => {
    if (!buttons.length) return;
    for (const lane of lanes) chosen.add(lane);
    update();
  };
}

const twos = (contacts) => contacts.flatMap((one, at) => contacts.slice(at + 1).map((other) => [one, other]));
const same = (one, other) => one.join() === other.join();

function row(key, [contact, good, , role], options, landed) {
  const label = made("p", { id: `r-${key}` }, made("b", {}, contact), role, made("span", { className: "hide" }, " reached"));
  const chosen = [...options, "-"].includes(landed) ? landed : good;
  const choices = options.length > MANY ? list(key, good, options, chosen) : made("div", { className: "picks" },
    ...[...options, "-"].map((each) => pick("radio", key, each, each === "-" ? made("span", { className: "word" }, "none") : each, each === chosen, each === good)));
  const made_ = made("div", { className: "reach", role: "radiogroup" }, label, choices);
  made_.dataset.row = key;
  for (const part of [made_, ...made_.querySelectorAll("select")]) part.setAttribute("aria-labelledby", label.id);
  return made_;
}

function list(key, good, options, chosen) {
  const choices = [...options, "-"].map((each) => new Option(`${each === "-" ? "nothing" : each}${each === good && each !== "-" ? " (right)" : ""}`, each, false, each === chosen));
  return made("select", { name: key }, ...choices);
}

function pick(type, name, value, words, checked, good = false) {
  const right = good && value !== "-" ? [made("span", { className: "hide" }, " (right)")] : [];
  return made("label", { className: `pick${good ? " good" : ""}` }, made("input", { type, name, value, checked }), words, ...right);
}

const touch = (pair, touching) => pick("checkbox", "touch", pair.join("+"), pair.join("–"), touching.some((each) => same(each, pair)));
