"""Typed readings of a meter: the place of a break or a short, and a loop that is too high. Pure."""

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import Final

from service.kit.measures import parse_celsius, parse_milliohm, parse_picofarad, parse_share
from service.kit.problems import Invalid, invalid
from service.kit.text import plain
from service.wiring.copper import LoopCheck, loop_check
from service.wiring.location import FaultLocation, Meter, locate_open, locate_short, pair_per_meter

Values = Mapping[str, str]

LABELS: Final[Mapping[str, str]] = {
    "open_a": "Broken conductor at end A",
    "open_b": "Broken conductor at end B",
    "stray_a": "Leads alone at end A",
    "stray_b": "Leads alone at end B",
    "whole": "A sound conductor of the same cable, at end A",
    "open_off": "The meter may be off by (%)",
    "open_fixed": "and by (pF)",
    "touching": "Which two touch",
    "short_a": "Loop through the short, at end A",
    "short_b": "Loop through the short, at end B",
    "lead": "Leads clipped together",
    "shield": "The shield from end to end",
    "short_gauge": "Wire gauge",
    "short_warmth": "Temperature of the cable",
    "short_off": "The meter may be off by (%)",
    "short_fixed": "and by (ohms)",
    "loop": "The loop",
    "ways": "Measured",
    "loop_gauge": "Wire gauge",
    "loop_warmth": "Temperature of the cable",
}
"""Every field of the page."""

START: Final[Mapping[str, str]] = {
    **dict.fromkeys(LABELS, ""),
    "stray_a": "0 pF",
    "stray_b": "0 pF",
    "open_off": "2",
    "open_fixed": "5 pF",
    "touching": "cores",
    "lead": "0",
    "short_off": "1",
    "short_fixed": "0.005",
    "ways": "2",
}
"""The page's initial values. The error of a meter is common practice, no source: its manual has the true one."""


def open_place(length_mm: int, values: Values) -> FaultLocation:
    """Where a conductor is broken. Raises `Invalid` with every field at fault."""
    parsers = dict.fromkeys(("open_a", "open_b", "stray_a", "stray_b", "open_fixed"), parse_picofarad)
    typed = _typed(values, parsers | {"open_off": parse_share})
    whole = _typed(values, {"whole": parse_picofarad})["whole"] if values["whole"] else None
    with _beside(picofarad="open_a", end_a="stray_a", end_b="stray_b", readings="open_a", meter="open_off"):
        return locate_open(
            length_mm,
            typed["open_a"],
            typed["open_b"],
            stray_a=typed["stray_a"],
            stray_b=typed["stray_b"],
            meter=Meter(typed["open_off"], typed["open_fixed"]),
            whole=whole,
        )


def short_place(length_mm: int, values: Values) -> FaultLocation:
    """Where two conductors touch. Raises `Invalid` with every field at fault."""
    parsers = dict.fromkeys(("short_a", "short_b", "lead", "short_fixed"), parse_milliohm)
    parsers |= {"short_gauge": parse_gauge, "short_warmth": parse_celsius, "short_off": parse_share}
    with_shield = values["touching"] == "shield"
    typed = _typed(values, parsers | ({"shield": parse_milliohm} if with_shield else {}))
    with _beside(
        milliohm="short_a",
        end_a="lead",
        end_b="lead",
        readings="short_a",
        meter="short_off",
        celsius="short_warmth",
        gauge_awg="short_gauge",
        per_meter="shield",
    ):
        per_meter = typed["shield"] * 1000 / length_mm if with_shield and length_mm else None
        return locate_short(
            length_mm,
            typed["short_a"],
            typed["short_b"],
            lead_a=typed["lead"],
            lead_b=typed["lead"],
            per_meter=pair_per_meter(
                int(typed["short_gauge"]), typed["short_warmth"], shield_milliohm_per_meter=per_meter
            ),
            meter=Meter(typed["short_off"], typed["short_fixed"]),
        )


def loop_judged(length_mm: int, values: Values) -> LoopCheck:
    """Whether a loop has the resistance of its copper. Raises `Invalid` with every field at fault."""
    typed = _typed(values, {"loop": parse_milliohm, "loop_gauge": parse_gauge, "loop_warmth": parse_celsius})
    with _beside(milliohm="loop", gauge_awg="loop_gauge", celsius="loop_warmth"):
        ways = 1 if values["ways"] == "1" else 2
        return loop_check(typed["loop"], length_mm, int(typed["loop_gauge"]), typed["loop_warmth"], ways=ways)


def parse_gauge(text: str, field: str) -> float:
    """A wire gauge from `24` or `24 AWG`. Raises `Invalid` for `field`."""
    typed = plain(text).upper().removesuffix("AWG").strip()
    if not typed.isdecimal() or len(typed) > 3:
        raise invalid(field, "Give the gauge of the conductors in AWG, like 24; it stands on the jacket.")
    return float(typed)


def _typed(values: Values, parsers: Mapping[str, Callable[[str, str], float]]) -> dict[str, float]:
    """The value of each field that is asked for. Raises `Invalid` with every one that is wrong."""
    measured: dict[str, float] = {}
    errors: dict[str, str] = {}
    for name, parse in parsers.items():
        try:
            measured[name] = parse(values[name], name)
        except Invalid as refusal:
            errors |= refusal.errors
    if errors:
        raise Invalid(" ".join(errors.values()), {name: errors[name] for name in LABELS if name in errors})
    return measured


@contextmanager
def _beside(**fields: str) -> Iterator[None]:
    """Assign refusals in the block to the field of the page."""
    try:
        yield
    except Invalid as refusal:
        errors = {fields.get(name, name): sentence for name, sentence in refusal.errors.items()}
        raise Invalid(refusal.detail, errors) from refusal
