"""Phantom volts as a test: what was typed, and the readings of every cable that would give them. Pure."""

import math
from collections.abc import Callable, Mapping
from typing import Final

from service.kit.measures import parse_meter_ohm, parse_volts
from service.kit.problems import Invalid, invalid
from service.wiring.builtin import BUILTIN
from service.wiring.faults import rebuild
from service.wiring.naming import conductor_words, listed
from service.wiring.phantom import (
    JOINT_OHM,
    LEAK_OHM,
    Bench,
    FarEnd,
    PhantomDiagnosis,
    Resistance,
    diagnose_phantom,
)
from service.wiring.wirings import Readings, Wiring, names, tidy

WITHOUT: Final = ("v21", "v31", "v23")
LOADED: Final = ("l21", "l31", "l23")
LABELS: Final[Mapping[str, str]] = {
    "v21": "2 to 1, no load",
    "v31": "3 to 1, no load",
    "v23": "2 to 3, no load",
    "l21": "2 to 1, with the load",
    "l31": "3 to 1, with the load",
    "l23": "2 to 3, with the load",
}
"""The six volts that can be read at the far end: without a load, then with it."""
METER: Final = "meter"
START: Final[Mapping[str, str]] = {**dict.fromkeys(LABELS, ""), METER: "10 Mohm"}
"""The page's initial values: no volts yet, and a usual digital meter."""

_LINE: Final = BUILTIN["xlr3"]


def carries_phantom(wiring: Wiring) -> bool:
    """Whether phantom volts can be diagnosed on this wiring: a single channel from 1, 2, 3 to 1, 2, 3."""
    return wiring.conductors == _LINE.conductors


def far_ends(values: Mapping[str, str]) -> list[FarEnd]:
    """The typed volts without the load and with it; each set may be left out, and 2 to 3 in each.

    Raises:
        Invalid: with every field that is at fault.
    """
    errors: dict[str, str] = {}
    volts: dict[str, float] = {}
    for name in LABELS:
        try:
            if values.get(name, "").strip():
                volts[name] = parse_volts(values[name], name)
        except Invalid as refusal:
            errors |= refusal.errors
    for fields in (WITHOUT, LOADED):
        first, second, _ = fields
        for name, other in ((first, second), (second, first)):
            if name not in volts and name not in errors and any(each in volts for each in fields):
                errors[name] = f"Read {LABELS[name]} too: “{LABELS[other]}” alone tells too little."
    if not volts and not errors:
        errors["v21"] = "Read the volts from contact 2 to 1 and from 3 to 1 at the far end first."
    if errors:
        raise Invalid(" ".join(errors.values()), errors)
    return [
        FarEnd(volts[fields[0]], volts[fields[1]], volts.get(fields[2]), loaded=fields is LOADED)
        for fields in (WITHOUT, LOADED)
        if fields[0] in volts
    ]


def diagnosed(values: Mapping[str, str]) -> PhantomDiagnosis:
    """What the volts may mean.

    Raises:
        Invalid: a value is wrong, or no cable gives these volts; then it stands beside the first of them.
    """
    errors: dict[str, str] = {}
    bench, readings = Bench(), list[FarEnd]()
    try:
        bench = Bench(meter_ohm=parse_meter_ohm(values.get(METER) or START[METER], METER))
    except Invalid as refusal:
        errors |= refusal.errors
    try:
        readings = far_ends(values)
    except Invalid as refusal:
        errors = refusal.errors | errors
    if errors:
        raise Invalid(" ".join(errors.values()), errors)
    try:
        return diagnose_phantom(readings, bench)
    except Invalid as refusal:
        first = WITHOUT[0] if not readings[0].loaded else LOADED[0]
        raise invalid(first, refusal.detail) from refusal


def possible(wiring: Wiring, diagnosis: PhantomDiagnosis) -> list[Readings]:
    """The readings of a two-ended test of each possible cable; volts say nothing about shells.

    States are given from the end that is fed, which is end B: a plug goes into the mixer. So what they say of end A is
    true of end B, and the other way round.
    """
    reached = sum(wiring.bit[contact] for wire in wiring.conductors for contact in (wire.a, wire.b))
    return [_turned(wiring, rebuild(wiring, faults).within(reached)) for faults in diagnosis.states]


def _turned(wiring: Wiring, readings: Readings) -> Readings:
    """The readings of the same cable with its ends exchanged."""
    other = {wire.a: wire.b for wire in wiring.conductors} | {wire.b: wire.a for wire in wiring.conductors}
    turned = (sum(wiring.bit[other[contact]] for contact in names(wiring, group)) for group in readings.groups)
    return Readings(tidy(turned), readings.probed)


def resistance_words(one: Resistance) -> str:
    """A leak or a joint in words, with its conductors and its ohms."""
    held = listed([conductor_words(_LINE, str(contact)) for contact in one.contacts])
    return f"{'a leak between' if one.leaks else 'a joint of high resistance in'} {held}, {_ohms(one)}"


def second_reading(values: Mapping[str, str], diagnosis: PhantomDiagnosis) -> str:
    """What to measure next if the volts may mean a leak as well as a joint, else ""."""
    if not diagnosis.undecided:
        return ""
    missing = [
        words
        for words, fields in (("with the load", LOADED), ("without the load", WITHOUT))
        if not values.get(fields[0])
    ]
    if missing:
        return (
            f"It may be a leak or a joint of high resistance. Read it {missing[0]} too, which tells them apart: "
            "without a load hardly any current runs through a joint, but through a leak it does."
        )
    return (
        "These volts do not tell a leak from a joint. Unplug both ends and measure ohms: a joint shows from one end to "
        "the other, a leak between two contacts of one end."
    )


def _ohms(one: Resistance) -> str:
    """A range with two digits each, rounded outwards; if only one bound is known, that one."""
    least, most = _range_text(one.least_ohm, math.floor), _range_text(one.most_ohm, math.ceil)
    limits = LEAK_OHM if one.leaks else JOINT_OHM
    if one.most_ohm >= limits[1]:
        return f"{' '.join(least)} or more"
    if one.least_ohm <= limits[0]:
        return f"{' '.join(most)} or less"
    return f"{least[0] if least[1] == most[1] else ' '.join(least)} to {' '.join(most)}"


def _range_text(ohm: float, rounded: Callable[[float], int]) -> tuple[str, str]:
    step = 10 ** (math.floor(math.log10(ohm)) - 1)
    ohm = rounded(ohm / step) * step
    for size, unit in ((1e9, "gigohm"), (1e6, "megohm"), (1e3, "kilohm")):
        if ohm >= size:
            return f"{ohm / size:.3g}", unit
    return f"{ohm:.3g}", "ohm"


def values_text(values: Mapping[str, str]) -> str:
    """The volts as text for the test's note."""
    typed = [
        f"{LABELS[name]}: {parse_volts(values[name], name):g} V" for name in LABELS if values.get(name, "").strip()
    ]
    meter = values.get(METER) or START[METER]
    by = "" if meter == START[METER] else f", by a meter of {meter}"
    return f"Phantom volts at the far end{by}, {'; '.join(typed)}."
