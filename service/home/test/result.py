"""What the page of a test's result shows: its verdict, what it means, and what may be done next."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from sqlalchemy.orm import Session

from service.crew.core import Role, Who
from service.drawing import layout as drawing
from service.drawing.shapes import Drawing
from service.gear.queries import item_facts
from service.gear.wirings import find_wiring, wiring_name
from service.sessions import queries as session_queries
from service.sessions.claims import next_for
from service.tags.queries import codes_of
from service.testers.queries import looked_by
from service.testlog import log_lists, queries
from service.testlog.core import CLOCK_ERROR_LEAST
from service.testlog.faults import advice, fault_in
from service.testlog.marks.queries import marks_of
from service.testlog.models import FaultRow, Test
from service.wiring.coverage import pass_words
from service.wiring.naming import conductor_words
from service.wiring.wirings import Wiring, read


def result_facts(db: Session, test: Test, who: Who, now: datetime) -> dict[str, Any]:
    """The variables of `testlog/result.html` for a test, for the person who looks at it."""
    ids = queries.items_of(db, [test.id])[test.id]
    items, codes = item_facts(db, ids), codes_of(db, ids)
    wiring = find_wiring(db, test.wiring)
    session = session_queries.session(db, test.session_id) if test.session_id else None
    lines = session_queries.worklist(db, session.id) if session else []
    after = next_for(lines, who.id, ids[0], now) if session and session.closed_at is None else None
    faults = queries.faults_of(db, [test.id])[test.id]
    logs = who.role.reaches(Role.CREW)
    marked = marks_of(db, [test.id]).get(test.id)
    line, void = log_lists.listed_tests(db, [log_lists.row_of(db, test.id)])[0], queries.void_of(db, test.id)
    return {
        "test": test,
        "line": line,
        "void": void,
        "items": [(codes[item_id], items[item_id]) for item_id in ids],
        "found": advice(db, test.wiring, faults),
        "drawing": _drawing(wiring, test, faults),
        "wiring_name": wiring_name(db, test.wiring),
        "unproven": [conductor_words(wiring, name) for name in test.unproven],
        "next_line": after,
        "lines": lines,
        "blind": pass_words(wiring, *looked_by(db, test), pieces=len(ids)),
        "clock_wrong": abs(test.told_at - test.tested_at) >= CLOCK_ERROR_LEAST,
        "marked": marked,
        "can_mark": logs and test.person_id == who.id and marked is None and void is None,
        "can_void": who.role.reaches(Role.LEAD) and void is None,
        "can_log": logs,
    }


def _drawing(wiring: Wiring, test: Test, faults: Sequence[FaultRow]) -> Drawing:
    """The drawing of the cable as it was found; a test without readings shows every contact as not tested."""
    readings = read(wiring, test.joined, test.probed) if test.joined or test.probed else None
    return drawing.as_found(wiring, readings, [fault_in(row) for row in faults])
