/* What the test form says, as groups of joined contacts: the same as the service reads from the same form.
   Nothing is diagnosed here. `facts` come from the service (service/testlog/phone.py), `data` is a FormData. */

export class Contradiction extends Error {}

/* {joined, probed, evidence, partial} of a filled-in form. Throws Contradiction, with the sentence to show. */
export function readForm(facts, data) {
  const entered = asEntered(facts, data);
  const evidence = findings(facts, data);
  const marked = !isGood(facts, entered) || evidence.some((one) => one.class !== "flexed");
  if (marked !== (data.get("verdict") === "fail")) {
    throw new Contradiction(marked ? facts.said.marked : facts.said.not_marked);
  }
  return { joined: joined(facts, entered), probed: probed(facts, entered), evidence };
}

function asEntered(facts, data) {
  const lanes = data.getAll("skip_lane").flatMap((lane) => facts.lanes[lane] ?? []);
  return {
    landed: Object.fromEntries(Object.keys(facts.rows).map((key) => [key, data.get(key) ?? facts.rows[key][1]])),
    touching: data.getAll("touch").map((pair) => pair.split("+")),
    unbonded: new Set(data.getAll("unbonded")),
    skipped: new Set([...lanes, ...data.getAll("skip")]),
    shells: data.get("shells") === "yes",
  };
}

function findings(facts, data) {
  const end = data.get("at_end") || null;
  const evidence = data.getAll("evidence").map((name) => {
    const [kind, note] = facts.evidence[name];
    return { class: kind, end, note };
  });
  return data.get("flexed") === "yes" ? [...evidence, { class: "flexed", end: null, note: "" }] : evidence;
}

function isGood(facts, entered) {
  const right = Object.entries(facts.rows).every(([key, row]) => entered.landed[key] === row[1]);
  return right && !entered.touching.length && !entered.unbonded.size;
}

function joined(facts, entered) {
  const groups = [...entered.touching];
  groups.push(...testedBonds(facts, entered).filter(([, later]) => !entered.unbonded.has(later)));
  for (const [key, [contact, good, wire]] of Object.entries(facts.rows)) {
    const landed = entered.landed[key], skipped = entered.skipped.has(wire);
    if (skipped && landed !== good) throw new Contradiction(facts.said.skipped.replace("{contact}", contact));
    if (landed !== "-" && !skipped) groups.push([contact, landed]);
  }
  return groups;
}

function probed(facts, entered) {
  const touching = entered.touching.flat();
  const landed = Object.entries(entered.landed).filter(([key, contact]) => contact !== "-" && !entered.skipped.has(facts.rows[key][2]))
    .map(([, contact]) => contact);
  const reached = new Set([
    ...facts.wires.filter(([name]) => !entered.skipped.has(name)).flatMap(([, a, b]) => [a, b]),
    ...testedBonds(facts, entered).flat(),
    ...touching,
    ...landed,
    ...facts.idle,
    ...(entered.shells || touching.some((contact) => facts.all_shells.includes(contact)) ? facts.shells : []),
  ]);
  return facts.contacts.every((contact) => reached.has(contact)) ? "all" : facts.contacts.filter((each) => reached.has(each));
}

/* With a skipped conductor the bonds of its contacts are skipped, too. */
function testedBonds(facts, entered) {
  const out = new Set(facts.wires.filter(([name]) => entered.skipped.has(name)).flatMap(([, a, b]) => [a, b]));
  return facts.bonds.filter((bond) => !bond.some((contact) => out.has(contact)));
}

/* Merge groups that share a contact; contacts in the order of the wiring, a single contact is not a group. */
export function united(contacts, groups) {
  const of = new Map();
  for (const group of groups) {
    const whole = new Set(group.flatMap((contact) => [...(of.get(contact) ?? [contact])]));
    for (const contact of whole) of.set(contact, whole);
  }
  const merged = [...new Set(of.values())].filter((group) => group.size > 1);
  const at = (contact) => contacts.indexOf(contact);
  return merged.map((group) => [...group].sort((one, other) => at(one) - at(other))).sort((one, other) => at(one[0]) - at(other[0]));
}
