"""What a lead types about decisions: thresholds with their bounds, and a decision on one item."""

from collections.abc import Mapping
from dataclasses import asdict
from datetime import date, timedelta
from typing import NamedTuple

from starlette.datastructures import FormData

from service.kit.dates import format_date, parse_date
from service.kit.problems import Invalid, invalid
from service.kit.quantities import parse_money
from service.kit.text import parse_count, plain, readable
from service.retire.decisions.core import Action, Limits, NewLeadDecision

REASON_MOST = 300
DAY = timedelta(days=1)
WORD_LONGEST = timedelta(days=366)
REPAIR_MOST = 100_000
"""In cents, 1,000 dollars: no repair costs more."""


class Bound(NamedTuple):
    """A threshold's label and hint on the page, and its least and greatest value."""

    label: str
    hint: str
    least: int
    most: int


BOUNDS: Mapping[str, Bound] = {
    "repeat_fails": Bound(
        "Fails at one end that retire it", "3 is usual: the third repair at one end does not hold.", 2, 10
    ),
    "repeat_tests": Bound("Of its last tests", "8 is usual: about three seasons, with the tests after repairs.", 2, 30),
    "shortened_percent": Bound(
        "Percent of its length that repairs may cut off", "8 is usual: 10 inches of a 10 ft cable.", 1, 50
    ),
    "life_years": Bound(
        "Years after which a repair asks for a look first",
        "8 is usual. Age alone retires nothing: whether a repair is worth its price, wear in your own log tells.",
        1,
        40,
    ),
    "risk_percent": Bound(
        "Percent of risk that asks for a test",
        "10 is usual: the chance that it has failed by the event and nobody knows.",
        1,
        90,
    ),
    "spare_days": Bound(
        "Days that a spare’s pass counts",
        "90 is usual, up to the event. Where a round runs, it also has to be of this round.",
        7,
        400,
    ),
}
"""Every threshold except the price of a repair, which is money."""


def read_limits(posted: FormData) -> Limits:
    """The thresholds as they were typed.

    Raises:
        Invalid: with a sentence for every field that is wrong.
    """
    values: dict[str, int] = {}
    errors: dict[str, str] = {}
    for name, bound in BOUNDS.items():
        try:
            values[name] = parse_count(str(posted.get(name) or ""), name, bound.least, bound.most)
        except Invalid as refusal:
            errors |= refusal.errors
    try:
        values["repair_cents"] = _repair(str(posted.get("repair_cents") or ""))
    except Invalid as refusal:
        errors |= refusal.errors
    if not errors and values["repeat_fails"] > values["repeat_tests"]:
        errors["repeat_fails"] = (
            f"{values['repeat_fails']} of {values['repeat_tests']} tests cannot fail; make the first the smaller."
        )
    if errors:
        raise Invalid(" ".join(errors.values()), errors)
    return Limits(**values)


def shown_limits(limits: Limits) -> dict[str, str]:
    """The values of the form for saved thresholds."""
    values = {name: str(value) for name, value in asdict(limits).items()}
    return values | {"repair_cents": f"{limits.repair_cents / 100:.2f}"}


def read_lead_decision(posted: FormData, event: date, today: date) -> NewLeadDecision:
    """A lead's decision on an item as it was typed. An empty day means until the event is over.

    Raises:
        Invalid: with a sentence for every field that is wrong.
    """
    named, typed = str(posted.get("action") or ""), plain(str(posted.get("until") or ""))
    reason = readable(str(posted.get("reason") or ""))
    errors: dict[str, str] = {}
    if named not in (*Action, "decided"):
        errors["action"] = "Choose what to do instead."
    if not reason:
        errors["reason"] = "Say why; it is shown with the line."
    elif len(reason) > REASON_MOST:
        errors["reason"] = f"This text has {len(reason)} characters; {REASON_MOST} are the most."
    until = max(event, today) + DAY
    try:
        until = _until(typed, today) if typed else until
    except Invalid as refusal:
        errors |= refusal.errors
    if errors:
        raise Invalid(" ".join(errors.values()), errors)
    return NewLeadDecision(None if named == "decided" else Action(named), reason, until)


def _until(typed: str, today: date) -> date:
    until = parse_date(typed, "until")
    if until <= today:
        raise invalid(
            "until", f"{format_date(until, today)} is here already. Choose the day on which it is advised again."
        )
    if until > today + WORD_LONGEST:
        raise invalid("until", "This is more than a year ahead. Check the year.")
    return until


def _repair(text: str) -> int:
    cents = parse_money(text, "repair_cents")
    if cents > REPAIR_MOST:
        raise invalid("repair_cents", "A repair for more than $1,000.00 is a new one; check the decimal point.")
    return cents
