"""What is asked of the log, as it was typed."""

from datetime import datetime
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from service.kit.dates import midnight, parse_date, parse_instant
from service.kit.problems import invalid
from service.tags.queries import named_id
from service.testlog.queries import LogFilter
from service.wiring.faults import FAULTS


def asked_of_log(db: Session, item: str, since: str, fault: str, conductor: str, zone: ZoneInfo) -> LogFilter:
    """What the log is asked for, as it was typed; empty means all.

    Raises:
        Invalid: with the field and what is wrong with it.
    """
    if fault and fault not in FAULTS:
        raise invalid("fault", f"“{fault[:40]}” is no class of fault; it is one of {', '.join(FAULTS)}.")
    return LogFilter(
        item_id=named_id(db, item, "item") if item else None,
        since=_since(since, zone) if since else None,
        fault=fault,
        conductor=conductor[:40],
    )


def _since(text: str, zone: ZoneInfo) -> datetime:
    return parse_instant(text, "since") if "T" in text.upper() else midnight(parse_date(text, "since"), zone)
