"""It crackled: one item from a phone that had no signal, or all that hangs at a place."""

from datetime import timedelta
from typing import Any

from service.gear.actions import place
from service.gear.core import ItemState
from service.gear.queries import place_named
from service.testlog.actions import change_state
from tests.support.program import Running, op
from tests.testlog.support import FLEXED, ZONE, bench

URL = "/api/v1/suspects"


def test_one_item_from_a_phone(program: Running) -> None:
    at = bench(program, "xlr3")
    (code,) = at.codes
    body: dict[str, Any] = {"id": op(), "item": code.lower(), "note": "in the ballad"}
    answers = [program.crew.post(URL, json=body | {"sent_at": "2026-01-01T00:00:00Z"}) for _ in "ab"]
    assert [answer.status_code for answer in answers] == [201, 201]
    assert answers[0].json() == answers[1].json()
    assert (answers[0].json()["item"], answers[0].json()["suspect"]) == (code, True)
    assert at.flags(code) == [body["id"]]
    assert program.crew.post(URL, json=body | {"note": "other"}).status_code == 422
    assert program.viewer.post(URL, json=body).status_code == 403
    assert program.crew.post(URL, json={"id": op(), "item": "QQQQQQ"}).status_code == 422


def test_what_arrives_after_its_flex_test_is_cleared_at_once(program: Running) -> None:
    at = bench(program, "xlr3")
    (code,) = at.codes
    phone = program.clock.now - timedelta(days=400)
    program.clock.ahead(minutes=30)
    at.test(code, evidence=FLEXED)
    program.clock.ahead(minutes=30)
    body = {"item": code, "at": phone.isoformat(), "sent_at": (phone + timedelta(hours=1)).isoformat()}
    assert program.crew.post(URL, json=body | {"id": op()}).json()["suspect"] is False
    assert at.flags(code) == []
    later = {"id": op(), "item": code, "at": (program.clock.now - timedelta(minutes=5)).isoformat()}
    assert program.crew.post(URL, json=later).json()["suspect"] is True


def test_all_that_hangs_at_a_place(program: Running) -> None:
    at = bench(program, "xlr3", "xlr3", "xlr3", "xlr3")
    here, chained, quarantined, elsewhere = at.codes
    with program.store.writing() as db:
        now = program.clock.now
        place(db, at.ids[here], "Frame 1", "", None, now)
        place(db, at.ids[chained], "Frame 2", "Frame 1", None, now)
        place(db, at.ids[quarantined], "Frame 1", "", None, now)
        place(db, at.ids[elsewhere], "Case", "", None, now)
        change_state(db, at.ids[quarantined], ItemState.QUARANTINED, "so", at.lead, now, ZONE)
        frame = place_named(db, "Frame 1")
    assert frame is not None
    address = f"/places/{frame.id}/crackled"
    page = program.crew.get(address).text
    ticked = [code for code in at.codes if f'value="{at.ids[code]}"' in page]
    assert ticked == [here, chained]
    data = {"op": op(), "item": [str(at.ids[code]) for code in (here, chained, elsewhere)]}
    for _ in "ab":
        assert program.crew.post(address, data=data).status_code == 303
    assert [len(at.flags(code)) for code in at.codes] == [1, 1, 0, 0]
    assert "suspect already" in program.crew.get(address).text
    nothing = program.crew.post(address, data={"op": op()})
    assert nothing.status_code == 422
    assert "Tick what may have crackled" in nothing.text
    assert program.viewer.get(address).status_code == 403
