"""The offline package of a phone: a session's worklist, and the form of every wiring on it."""

from collections.abc import Mapping
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from service.crew.core import Who
from service.gear.core import item_title
from service.gear.wirings import connectors, find_wiring, wiring_name
from service.home.offline import queries
from service.home.test.forms import TestForm
from service.kit.quantities import Unit, format_length
from service.sessions.queries import WorklistRow, worklist
from service.swaps.queries import ready
from service.testers.tables import version
from service.testlog import form_reader
from service.testlog.core import Method
from service.testlog.models import WorkSession
from service.testlog.phone import form_facts
from service.testlog.sheet import sheet
from service.web.render import ENVIRONMENT
from service.wiring.wirings import Wiring


def package(db: Session, session: WorkSession, who: Who, unit: Unit, today: date, zone: ZoneInfo) -> dict[str, Any]:
    """A session for a phone: without names except the helper's own, and from the log only each item's last verdict."""
    lines = worklist(db, session.id)
    ids = [line.item.id for line in lines]
    last, sure = queries.last_verdicts(db, ids), ready(db, ids, today, zone)
    keys = sorted({line.item.wiring for line in lines})
    return {
        "session": {
            "id": str(session.id),
            "title": session.title,
            "on": session.on.isoformat(),
            "closed": session.closed_at is not None,
        },
        "who": {"id": str(who.id), "name": who.display_name},
        "lines": [_line(db, line, last, line.item.id in sure, unit) for line in lines],
        "wirings": {key: _wiring(wiring_name(db, key), key, find_wiring(db, key)) for key in keys},
    }


def _line(
    db: Session, line: WorklistRow, last: Mapping[Any, tuple[str, Any]], sure: bool, unit: Unit
) -> dict[str, Any]:
    item = line.item
    verdict, at = last.get(item.id, (None, None))
    return {
        "code": line.code,
        "name": item_title(item, unit),
        "place": item.place,
        "place_b": item.place_b,
        "length": format_length(item.length_mm, unit) if item.length_mm else "",
        "ends": connectors(db, item),
        "wiring": item.wiring,
        "state": item.state.value,
        "stands": item.stands,
        "proven": sure,
        "length_mm": item.length_mm,
        "why": line.why,
        "done": line.done.verdict.value if line.done else None,
        "last": verdict,
        "last_at": at and at.isoformat(),
    }


def _wiring(name: str, key: str, wiring: Wiring) -> dict[str, Any]:
    return {
        "name": name,
        "table": f"/api/v1/wirings/{key}",
        "version": version(key, wiring),
        "facts": form_facts(wiring),
        "form": _form(wiring),
    }


def _form(wiring: Wiring) -> str:
    """The form as the service shows it; lanes with trouble are added by the phone."""
    return ENVIRONMENT.get_template("testlog/test_form.html").render(
        form=TestForm(""),
        code="",
        session=None,
        sheet=sheet(wiring),
        wiring=wiring,
        test={},
        made="",
        evidence=form_reader.EVIDENCE,
        method=Method.TWO_ENDED,
        lane_word="lane" if len(wiring.lanes) > 1 else "pair",
    )
