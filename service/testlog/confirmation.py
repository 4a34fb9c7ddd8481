"""A form that was sent sooner than anybody can have done the test has to be confirmed. Pure.

Pages with script disable their buttons until then (static/offline/arming.js has the same times). Without script, the
form carries the time at which the service made it.
"""

from datetime import datetime, timedelta

from starlette.datastructures import FormData

from service.kit.dates import parse_instant
from service.kit.problems import Invalid
from service.testlog.core import SCANNED

LEAST = timedelta(seconds=2)
AFTER_SCAN = timedelta(seconds=1)
"""If the item's tag was scanned for the test: a scan ends in a tap, which may come twice."""

ABOUT_THE_FORM = ("made", SCANNED, "sure", "show")
"""Fields about how the form was filled in, not about the test."""


def too_soon(posted: FormData, now: datetime) -> bool:
    """Whether to ask for a confirmation; also if the form does not say when it was made."""
    if posted.get("sure") == "yes":
        return False
    try:
        made = parse_instant(str(posted.get("made") or ""))
    except Invalid:
        return True
    return now - made < (AFTER_SCAN if posted.get(SCANNED) else LEAST)


def content(posted: FormData) -> list[list[str]]:
    """The fields about the test, by which a second submission is recognized."""
    return [[name, str(value)] for name, value in posted.multi_items() if name not in ABOUT_THE_FORM]
