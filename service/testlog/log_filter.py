"""What is asked of the log, as it was typed."""

from datetime import datetime
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from service.gear.models import Item
from service.kit.dates import midnight, parse_date, parse_instant
from service.kit.problems import Invalid, NotFound, invalid
from service.tags.actions import item_id_with
from service.testlog.queries import LogFilter
from service.wiring.faults import FAULTS


def named_item(db: Session, code: str, field: str) -> Item:
    """The item that a code is on, or was on before a retag.

    Raises:
        Invalid: for `field`, with the reason.
    """
    return db.get_one(Item, named_id(db, code, field))


def named_id(db: Session, code: str, field: str) -> UUID:
    """The same, where the item itself is not wanted or held later."""
    try:
        return item_id_with(db, code, ended=True)
    except (Invalid, NotFound) as refusal:
        raise invalid(field, refusal.detail) from refusal


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
