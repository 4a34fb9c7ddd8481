/* The verdict without a signal, looked up in the table that the service made (service/diagnosis/offline_tables.py).
   What the table has no answer for is kept, and answered by the service when it is sent. */

import { united } from "./readings.js";

/* {verdict, faults, unproven, least} for joined groups and what was probed, or null where only the service can tell; each
   fault has its words and its drawing. */
export function lookUp(table, joined, probed) {
  const whole = united(table.contacts, joined);
  for (const part of table.tables.filter((each) => String(each.probed) === String(probed))) {
    const result = part.results[counted(part.contacts, whole)];
    if (result && same(table, part, whole, probed)) return described(table, part, result);
  }
  return null;
}

/* The finding for each tick besides the readings, at the named end ("": none). */
export function ticked(table, names, end) {
  return names.map((name) => table.evidence?.[name]?.[end]).filter(Boolean); // tables of an older service have none
}

export const VERDICTS = { pass: "Pass", fail: "Fail", partial: "Partial" };

/* The group of each contact, groups numbered by their first contact: "012032". */
function counted(contacts, groups) {
  const seen = new Map();
  return contacts.map((contact) => {
    const group = groups.find((each) => each.includes(contact)) ?? contact;
    if (!seen.has(group)) seen.set(group, seen.size);
    return seen.get(group);
  }).join("");
}

/* Whether everything outside the part reads as it should, for which the part's answers are valid. */
function same(table, part, whole, probed) {
  const here = new Set(part.contacts);
  const reached = new Set(probed === "all" ? table.contacts : probed);
  const inside = whole.map((group) => group.filter((contact) => here.has(contact)));
  const links = [...table.conductors.map(({ a, b }) => [a, b]), ...table.bonds];
  const elsewhere = links.filter((link) => !link.every((contact) => here.has(contact)) && link.every((each) => reached.has(each)));
  return JSON.stringify(united(table.contacts, [...inside, ...elsewhere])) === JSON.stringify(whole);
}

function described(table, part, [verdict, numbers, least]) {
  const faults = numbers.map((number) => table.faults[number]);
  const words = (name) => table.conductors.find((each) => each.name === name)?.words ?? name;
  return {
    verdict,
    faults,
    unproven: part.unproven.map(words),
    least: least !== false,
  };
}
