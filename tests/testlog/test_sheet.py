"""The sheet: filled in as it comes it is a pass; each single fault entered on it is that fault, on every wiring."""

import pytest

from service.diagnosis.diagnosis import Diagnosis, diagnose
from service.testlog.sheet import NOTHING, Entered, FormSheet, is_good, readings, sheet
from service.wiring.builtin import BUILTIN
from service.wiring.faults import FaultClass
from service.wiring.wirings import Wiring, lanes_of, read

EVERY = pytest.mark.parametrize("key", BUILTIN)


def found(wiring: Wiring, entered: Entered) -> Diagnosis:
    return diagnose(wiring, read(wiring, *readings(wiring, entered)))


def sheets(wiring: Wiring) -> list[FormSheet]:
    """The sheet of each lane, or the only one."""
    return [sheet(wiring, [lane]) for lane in lanes_of(wiring)]


@EVERY
def test_left_as_it_is_it_is_a_pass(key: str) -> None:
    wiring = BUILTIN[key]
    for page in sheets(wiring):
        entered = Entered({row.key: row.good for row in page.rows + page.aside})
        assert is_good(wiring, entered)
        assert found(wiring, entered).verdict == "pass"
        assert all(row.good in (*row.options, NOTHING) for row in page.rows + page.aside)


@EVERY
def test_every_conductor_has_its_row_and_an_open_is_that_open(key: str) -> None:
    wiring = BUILTIN[key]
    rows = {row.key: row for page in sheets(wiring) for row in page.rows + page.aside if row.good != NOTHING}
    assert len(rows) == len(wiring.conductors)
    for number, wire in enumerate(wiring.conductors):
        entered = Entered({f"c{number}": NOTHING})
        assert not is_good(wiring, entered)
        (fault,) = found(wiring, entered).faults
        assert (fault.fault_class, fault.conductors) == (FaultClass.OPEN, (wire.name,))


@EVERY
def test_each_pair_that_touches_is_one_short(key: str) -> None:
    wiring = BUILTIN[key]
    pairs = {pair for page in sheets(wiring) for pair in page.touch_a + page.touch_b + page.shells}
    assert pairs
    for pair in pairs:
        faults = found(wiring, Entered(touching=(pair,))).faults
        assert [(fault.fault_class, fault.cost) for fault in faults] == [(FaultClass.SHORT, 1)]


@EVERY
def test_each_pair_the_other_way_round_is_that_reversed_pair(key: str) -> None:
    wiring = BUILTIN[key]
    for one, other in wiring.pairs.values():
        entered = Entered(
            {
                f"c{wiring.conductors.index(one)}": other.b,
                f"c{wiring.conductors.index(other)}": one.b,
            }
        )
        (fault,) = found(wiring, entered).faults
        assert fault.fault_class == FaultClass.REVERSED_PAIR
        assert set(fault.conductors) == {one.name, other.name}


def test_a_missing_bond_is_an_open_of_its_shell() -> None:
    wiring = BUILTIN["xlr3-bonded"]
    assert [bond.later for bond in sheet(wiring).bonds] == ["As", "Bs"]
    (fault,) = found(wiring, Entered(unbonded=frozenset({"Bs"}))).faults
    assert (fault.fault_class, fault.conductors, fault.end) == (FaultClass.OPEN, ("Bs",), "B")


@EVERY
def test_what_was_skipped_is_not_proven(key: str) -> None:
    wiring = BUILTIN[key]
    for wire in wiring.conductors:
        told = found(wiring, Entered(skipped=frozenset({wire.name})))
        assert told.verdict == "partial"
        assert wire.name in told.unproven


def test_shells_count_as_tested_only_when_that_is_said() -> None:
    wiring = BUILTIN["xlr3"]
    assert "As" not in readings(wiring, Entered())[1]
    assert readings(wiring, Entered(shells=True))[1] == "all"
