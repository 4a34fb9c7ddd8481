"""Properties of the diagnosis over every built-in wiring and random ones, held to a simulator of the tests' own."""

from dataclasses import replace
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.diagnosis.diagnosis import Diagnosis, diagnose
from service.kit.problems import Invalid
from service.wiring.builtin import BUILTIN
from service.wiring.faults import RANK, FaultClass, explains, rebuild
from service.wiring.wirings import Conductor, Wiring, names, read, wiring
from tests.diagnosis.exhaustive import Thing, cut_down, ends_joined, obeys, order_of_names, simulate
from tests.support.examples import examples
from tests.wiring.broken import as_groups, as_things, broken, groups_of, total, wirings

thorough = examples(150)


def diagnosed(made: Wiring, things: tuple[Thing, ...]) -> Diagnosis:
    return diagnose(made, read(made, groups_of(made, things)))


@thorough
@given(st.data())
def test_an_explanation_gives_the_readings_back_and_is_never_dearer_than_what_was_done(
    data: st.DataObject,
) -> None:
    made = data.draw(wirings)
    things = data.draw(broken(made))
    found = diagnosed(made, things)
    assert simulate(made, as_things(found.faults)) == simulate(made, things)
    assert obeys(made, as_things(found.faults), simulate(made, things))
    assert sum(fault.cost for fault in found.faults) <= total(things)
    assert found.least or len(found.faults) > 4
    assert (found.verdict == "fail") == bool(found.faults)


@thorough
@given(st.data())
def test_so_it_is_when_only_some_contacts_were_probed(data: st.DataObject) -> None:
    made = data.draw(wirings)
    things = data.draw(broken(made, most=3))
    hidden = data.draw(st.sets(st.sampled_from(made.all_contacts), max_size=len(made.all_contacts) // 3))
    probed = [contact for contact in made.all_contacts if contact not in hidden]
    groups = cut_down(simulate(made, things), probed)
    found = diagnose(made, read(made, [sorted(group) for group in groups], probed))
    assert cut_down(simulate(made, as_things(found.faults)), probed) == groups
    assert obeys(made, as_things(found.faults), groups)
    if ends_joined(made, things, groups):
        assert sum(fault.cost for fault in found.faults) <= total(things) or not found.least


@thorough
@given(st.data())
def test_rebuilding_agrees_with_the_simulator(data: st.DataObject) -> None:
    made = data.draw(wirings)
    found = diagnosed(made, data.draw(broken(made))).faults
    rebuilt = {frozenset(names(made, group)) for group in rebuild(made, found).groups}
    assert rebuilt == simulate(made, as_things(found))


@thorough
@given(st.data(), st.randoms(use_true_random=False))
def test_the_order_of_the_readings_does_not_matter(data: st.DataObject, chance: Random) -> None:
    made = data.draw(wirings)
    joined = groups_of(made, data.draw(broken(made)))
    shuffled = [chance.sample(group, len(group)) for group in chance.sample(joined, len(joined))]
    split = [half for group in shuffled for half in (group[: len(group) // 2 + 1], group[len(group) // 2 :])]
    assert diagnose(made, read(made, split)) == diagnose(made, read(made, joined))


@thorough
@given(st.data())
def test_the_names_of_the_lanes_do_not_matter(data: st.DataObject) -> None:
    made = data.draw(st.sampled_from([BUILTIN["d25x8"], BUILTIN["8p8c-to-xlr4"], BUILTIN["xlr3x4"]]))
    renamed = wiring(
        [contact[1:] for contact in made.contacts("A")],
        [contact[1:] for contact in made.contacts("B")],
        [replace(wire, lane=f"{int(wire.lane or 0) + 40}") for wire in made.conductors],
    )
    joined = groups_of(made, data.draw(broken(made)))
    ours, theirs = (diagnose(one, read(one, joined)).faults for one in (made, renamed))
    assert [replace(fault, lanes=None) for fault in ours] == [replace(fault, lanes=None) for fault in theirs]


@thorough
@given(st.data())
def test_another_open_or_short_never_makes_a_bad_cable_pass(data: st.DataObject) -> None:
    single = [made for made in BUILTIN.values() if len({wire.a for wire in made.conductors}) == len(made.conductors)]
    made = data.draw(st.sampled_from(single))
    swaps = [thing for thing in data.draw(broken(made)) if thing[0] not in ("open", "short")]
    if simulate(made, swaps) == simulate(made, ()):
        return
    more = [thing for thing in data.draw(broken(made)) if thing[0] in ("open", "short")]
    assert diagnosed(made, (*more, *swaps)).verdict == "fail"


@thorough
@given(st.data())
def test_everything_is_listed_in_order(data: st.DataObject) -> None:
    made = data.draw(wirings)
    order = order_of_names(made)
    faults = diagnosed(made, data.draw(broken(made))).faults
    keys = [(RANK[fault.fault_class], order[fault.conductors[0]]) for fault in faults]
    assert keys == sorted(keys)
    for fault in faults:
        assert list(fault.conductors) == sorted(fault.conductors, key=order.__getitem__)


@pytest.mark.parametrize("key", BUILTIN)
@pytest.mark.parametrize("groups", [1, 2, 5, 20])
def test_readings_that_no_cable_would_give_are_explained_too(key: str, groups: int) -> None:
    made = BUILTIN[key]
    chance = Random(groups)
    joined: list[list[str]] = [[] for _ in range(groups)]
    for contact in made.all_contacts:
        chance.choice(joined).append(contact)
    readings = read(made, joined)
    found = diagnose(made, readings)
    assert found.verdict == "fail"
    assert explains(made, found.faults, readings)
    assert obeys(made, as_things(found.faults), as_groups(joined))


@examples(40)
@given(wirings, st.integers(1, 12), st.floats(0.3, 1), st.randoms(use_true_random=False))
def test_so_are_they_when_only_some_contacts_were_probed(
    made: Wiring, groups: int, share: float, chance: Random
) -> None:
    probed = [contact for contact in made.all_contacts if chance.random() < share]
    joined: list[list[str]] = [[] for _ in range(groups)]
    for contact in probed:
        chance.choice(joined).append(contact)
    readings = read(made, joined, probed)
    found = diagnose(made, readings)
    assert explains(made, found.faults, readings)
    assert obeys(made, as_things(found.faults), as_groups(joined))


@pytest.mark.parametrize("key", BUILTIN)
def test_a_connector_torn_off_is_an_open_of_every_conductor(key: str) -> None:
    made = BUILTIN[key]
    found = diagnose(made, read(made, []))
    opened = [fault.conductors[0] for fault in found.faults]
    assert sorted(opened) == sorted([*made.by_name, *(bond.later for bond in made.bonds)])
    assert found.least


def test_crossed_pairs_go_before_a_miswire_of_the_two_conductors_that_show_it() -> None:
    made = BUILTIN["8p8c"]
    straight = [[f"A{n}", f"B{n}"] for n in "367"]
    shorted = [["A1", "B5"], ["A5", "B1"], ["A2", "A4", "B2", "B4"], ["A8", "B8"], *straight]
    assert [fault.fault_class for fault in diagnose(made, read(made, shorted)).faults] == [
        FaultClass.SHORT,
        FaultClass.CROSSED_PAIRS,
    ]
    unprobed = read(made, [["A1", "B3"], ["A3", "B1"]], ["A1", "A3", "B1", "B3"])
    (fault,) = diagnose(made, unprobed).faults
    assert (fault.fault_class, fault.conductors) == (FaultClass.CROSSED_PAIRS, ("1", "2", "3", "6"))


def test_five_faults_of_cost_one_are_proven_least() -> None:
    """Anything cheaper has four faults at most, and of so many the search misses none."""
    made = BUILTIN["8p8c"]
    crossed = [["A1", "B5"], ["A2", "B8"], ["A3", "B3"], ["A6", "B4"], ["A7", "B1"], ["A8", "B2"]]
    found = diagnose(made, read(made, crossed))
    assert [fault.fault_class for fault in found.faults] == [
        FaultClass.OPEN,
        FaultClass.OPEN,
        FaultClass.CROSSED_PAIRS,
        FaultClass.MISWIRE,
        FaultClass.MISWIRE,
    ]
    assert sum(fault.cost for fault in found.faults) == 5
    assert found.least


def test_one_exchange_goes_before_two_where_contacts_were_not_probed() -> None:
    """8 lands at 7's contact and 5 elsewhere: one cycle through the unprobed A7 and B8, not two exchanges."""
    made = BUILTIN["d25x8"]
    unprobed = {"A1", "A3", "A6", "A7", "A11", "A12", "A17", "A18", "A20", "A21", "A22"}
    unprobed |= {"B8", "B9", "B10", "B11", "B16", "B21"}
    probed = [contact for contact in made.all_contacts if contact not in unprobed]
    good = [[c.a, c.b] for c in made.conductors if not {c.a, c.b} & unprobed and c.name not in "578"]
    (fault,) = diagnose(made, read(made, [["A8", "B7"], *good], probed)).faults
    assert (fault.fault_class, fault.conductors) == (FaultClass.MISWIRE, ("5", "7", "8"))


def test_one_exchange_through_unprobed_contacts_goes_before_an_open_and_another() -> None:
    made = BUILTIN["8p8c"]
    probed = ["A1", "A3", "A5", "A7", "A8", "As", "B1", "B2", "B3", "B4", "B6", "B7", "B8", "Bs"]
    joined = [["A5", "B6"], ["As", "B1"], ["A7", "B7"], ["A8", "B8"]]
    found = diagnose(made, read(made, joined, probed)).faults
    assert [(fault.fault_class, fault.conductors, fault.end) for fault in found] == [
        (FaultClass.MISWIRE, ("1",), "A"),
        (FaultClass.MISWIRE, ("3", "5", "6"), None),
    ]


def test_crossings_that_only_pay_together_are_found() -> None:
    """The first takes 3 away from where it reads well; the second brings it back."""
    made = BUILTIN["8p8c"]
    joined = [["A1", "B5"], ["A2", "B6"], ["A3", "A5", "B3", "B7"], ["A6", "B8"], ["A7", "B1"], ["A8", "B2"]]
    found = diagnose(made, read(made, [*joined, ["A4", "B4"]])).faults
    assert [(fault.fault_class, fault.conductors) for fault in found] == [
        (FaultClass.SHORT, ("3", "5")),
        (FaultClass.CROSSED_PAIRS, ("1", "2", "3", "6")),
        (FaultClass.CROSSED_PAIRS, ("3", "6", "7", "8")),
        (FaultClass.MISWIRE, ("1", "5")),
    ]


def test_a_short_of_a_conductor_whose_far_end_was_not_probed_may_be_an_exchange() -> None:
    """2 reads at 24's contact, and its own, B8.1, was not probed; nor was A24."""
    made = BUILTIN["d25-to-xlr8"]
    unprobed = {"A1", "A7", "A20", "A24", "B2.1", "B2.2", "B2.3", "B3.3", "B4.2", "B6.3", "B7.1", "B8.1"}
    moved = {"1", "2", "4", "12", "14", "17", "24"}
    good = [[c.a, c.b] for c in made.conductors if not {c.a, c.b} & unprobed and c.name not in moved]
    joined = [["A2", "B1.2"], ["A4", "B8.2"], ["A17", "B6.2"], *good]
    probed = [contact for contact in made.all_contacts if contact not in unprobed]
    found = diagnose(made, read(made, joined, probed)).faults
    assert [(fault.fault_class, fault.conductors) for fault in found] == [
        (FaultClass.CROSSED_PAIRS, ("1", "4", "14", "17")),
        (FaultClass.MISWIRE, ("1", "17")),
        (FaultClass.MISWIRE, ("2", "12", "24")),
    ]


def test_a_conductor_that_bears_a_contact_s_name_is_refused_where_that_contact_must_be_named() -> None:
    """A1 is on the shell's tag and left contact B1 to be joined with B2; but "B1" is the name of that conductor."""
    made = wiring(
        ["1", "2", "s"],
        ["1", "2", "s"],
        [Conductor("B1", "A1", "B1", "single"), Conductor("2", "A2", "B2", "single")],
    )
    assert diagnose(made, read(made, [["A1", "Bs"], ["A2", "B2"]])).faults[0].end == "B"
    with pytest.raises(Invalid, match="Conductor 'B1' has the name of a contact"):
        diagnose(made, read(made, [["A1", "Bs"], ["A2", "B1", "B2"]]))


@pytest.mark.parametrize("broken", [("1.1", "1.2"), ("1.1", "2.1"), ("1.2", "2.3")])
def test_two_opens_are_no_exchange_with_lanes_that_were_not_probed(broken: tuple[str, str]) -> None:
    wiring = BUILTIN["xlr3x8"]
    probed = [wire for lane in "12" for wire in wiring.lanes[lane]]
    joined = [[wire.a, wire.b] for wire in probed if wire.name not in broken]
    found = diagnose(wiring, read(wiring, joined, [contact for wire in probed for contact in (wire.a, wire.b)]))
    assert [(fault.fault_class, fault.conductors) for fault in found.faults] == [
        (FaultClass.OPEN, (name,)) for name in broken
    ]
