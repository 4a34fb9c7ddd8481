"""The phone puts contacts together as the service does: every built-in wiring, every single fault, and odd forms.

What each says of the same form is compared; the service's own reading is held to the diagnosis elsewhere.
"""

import random
from collections.abc import Iterator
from typing import Any

import pytest
from starlette.datastructures import FormData

from service.diagnosis.diagnosis import diagnose
from service.kit.problems import Invalid
from service.testlog import form_reader
from service.testlog.phone import form_facts
from service.testlog.sheet import readings, sheet
from service.wiring.builtin import BUILTIN
from service.wiring.faults import rebuild
from service.wiring.singles import single_faults
from service.wiring.wirings import Readings, Wiring, canonical, lanes_of, names, read
from tests.support.program import table_of
from tests.support.script import module, run

Fields = list[tuple[str, str]]
READ = """async ([url, facts, forms]) => {
  const { readForm, united } = await import(url);
  return forms.map((fields) => {
    const data = new FormData();
    for (const [name, value] of fields) data.append(name, value);
    try {
      const { joined, probed, evidence } = readForm(facts, data);
      return { joined: united(facts.contacts, joined), probed, evidence };
    } catch (error) { return error.message; }
  });
}"""


def as_entered(wiring: Wiring, seen: Readings) -> Fields:
    """A form on which a cable that reads so is entered: where each contact landed, what touches beyond that."""
    groups = [names(wiring, group) for group in seen.groups]
    full = sheet(wiring, tuple(lanes_of(wiring)))
    fields: Fields = []
    linked: list[set[str]] = [{contact} for contact in wiring.all_contacts]
    for bond in wiring.bonds:
        if any({bond.earlier, bond.later} <= set(group) for group in groups):
            _link(linked, bond.earlier, bond.later)
        else:
            fields.append(("unbonded", bond.later))
    for row in (*full.rows, *full.aside):
        held = next((set(group) for group in groups if row.contact in group), set())
        there = sorted(contact for contact in held if contact[0] == "B")
        landed = row.good if row.good in held else there[0] if there else "-"
        fields.append((row.key, landed))
        if landed != "-":
            _link(linked, row.contact, landed)
    for group in groups:
        for contact in group[1:]:
            if not any({group[0], contact} <= each for each in linked):
                fields.append(("touch", f"{group[0]}+{contact}"))
                _link(linked, group[0], contact)
    return fields


def _link(linked: list[set[str]], one: str, other: str) -> None:
    whole = set().union(*(each for each in linked if each & {one, other}))
    linked[:] = [each for each in linked if not each & whole] + [whole]


def odd_forms(wiring: Wiring, count: int) -> Iterator[Fields]:
    """Forms as nobody should fill them in: anything landed anywhere, skipped, touching, contradicting itself."""
    chance = random.Random(7)
    full = sheet(wiring, tuple(lanes_of(wiring)))
    rows = (*full.rows, *full.aside)
    for _ in range(count):
        fields = [
            (row.key, chance.choice([row.good] * 6 + ["-", *row.options])) for row in rows if chance.random() < 0.9
        ]
        pairs = [*full.touch_a, *full.touch_b, *full.shells]
        fields += [("touch", "+".join(pair)) for pair in chance.sample(pairs, chance.randrange(min(3, len(pairs))))]
        fields += [("unbonded", bond.later) for bond in wiring.bonds if chance.random() < 0.1]
        fields += [("skip", wire.name) for wire in wiring.conductors if chance.random() < 0.05]
        fields += [("skip_lane", lane) for lane in lanes_of(wiring) if lane and chance.random() < 0.05]
        fields += [("evidence", name) for name in form_reader.EVIDENCE if chance.random() < 0.1]
        fields += [("shells", "yes")] * (chance.random() < 0.3) + [("flexed", "yes")] * (chance.random() < 0.3)
        yield [
            *fields,
            ("at_end", chance.choice(["", "A", "B"])),
            ("verdict", chance.choice(["pass", "fail"])),
        ]


def by_service(wiring: Wiring, fields: Fields) -> Any:
    """What the service makes of a form, in the phone's words."""
    posted = FormData([("op", "1b671a64-40d5-491e-99b0-da01ff1f3341"), *fields])
    try:
        new = form_reader.new_test("7K3M9U", (), wiring, posted)
    except Invalid as refusal:
        return refusal.detail
    seen = canonical(wiring, read(wiring, new.joined or [], new.probed))
    return {
        "joined": seen["joined"],
        "probed": seen["probed"],
        "evidence": [{"class": one.kind, "end": one.end, "note": one.note} for one in new.evidence],
    }


def by_phone(wiring: Wiring, forms: list[Fields]) -> list[Any]:
    """What the phone makes of forms."""
    found: list[Any] = run(READ, [module("offline/readings.js"), form_facts(wiring), forms])
    return found


@pytest.mark.parametrize("key", BUILTIN)
def test_every_single_fault_reads_the_same(key: str) -> None:
    wiring = BUILTIN[key]
    seen = [rebuild(wiring, [fault]) for fault in single_faults(wiring)]
    forms: list[list[tuple[str, str]]] = [
        [*as_entered(wiring, each), ("shells", "yes"), ("verdict", "fail")] for each in seen
    ]
    phone = by_phone(wiring, forms)
    assert phone == [by_service(wiring, form) for form in forms]
    assert [each["joined"] for each in phone] == [canonical(wiring, each)["joined"] for each in seen]


@pytest.mark.parametrize("key", BUILTIN)
def test_odd_forms_read_the_same_or_are_refused_alike(key: str) -> None:
    wiring = BUILTIN[key]
    forms = list(odd_forms(wiring, 40))
    here = [by_service(wiring, form) for form in forms]
    assert by_phone(wiring, forms) == here
    assert any(isinstance(each, str) for each in here)
    assert any(isinstance(each, dict) for each in here)


LOOK_UP = """async ([url, table, readings]) => {
  const { lookUp } = await import(url);
  return readings.map(([joined, probed]) => lookUp(table, joined, probed));
}"""


@pytest.mark.parametrize("key", ["xlr3", "xlr3-bonded", "d25x8"])
def test_the_verdict_without_a_signal_is_the_services(key: str) -> None:
    wiring = BUILTIN[key]
    forms: list[list[tuple[str, str]]] = [
        [*as_entered(wiring, rebuild(wiring, [fault]))] for fault in single_faults(wiring)
    ]
    forms += [[], *odd_forms(wiring, 40)]
    asked = []
    for form in forms:
        try:
            asked.append(readings(wiring, form_reader.entered(wiring, FormData([*form]))))
        except Invalid:
            continue
    found = run(LOOK_UP, [module("offline/verdict.js"), table_of(key), asked])
    known = 0
    for (joined, probed), told in zip(asked, found, strict=True):
        if told is not None:
            known += 1
            here = diagnose(wiring, read(wiring, joined, probed))
            assert told["verdict"] == here.verdict, joined
            assert len(told["faults"]) == len(here.faults)
    assert known >= 2 * len(wiring.conductors)  # each open, and as many shorts and reversals within a lane
