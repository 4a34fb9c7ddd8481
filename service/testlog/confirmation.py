"""A test that was sent sooner than anybody can have made it, and so is asked about once more. Pure.

Pages with script keep their buttons still until then (static/offline/arming.js has the same times). Without script, the
form carries the moment at which the service made it.
"""

from datetime import datetime, timedelta

from starlette.datastructures import FormData

from service.kit.dates import parse_instant
from service.kit.problems import Invalid
from service.testlog.core import SCANNED

LEAST = timedelta(seconds=2)
AFTER_SCAN = timedelta(seconds=1)
"""Where the item's tag was scanned for it. A scan ends in a tap, which may come twice."""

ABOUT_THE_FORM = ("made", SCANNED, "sure", "show")
"""Fields that say how a form was filled in, and nothing of what was tested."""


def too_soon(posted: FormData, now: datetime) -> bool:
    """Whether to ask once more; a form that does not say when it was made is asked about, too."""
    if posted.get("sure") == "yes":
        return False
    try:
        made = parse_instant(str(posted.get("made") or ""))
    except Invalid:
        return True
    return now - made < (AFTER_SCAN if posted.get(SCANNED) else LEAST)


def content(posted: FormData) -> list[list[str]]:
    """What a form says of the test, by which a second sending is known."""
    return [[name, str(value)] for name, value in posted.multi_items() if name not in ABOUT_THE_FORM]
