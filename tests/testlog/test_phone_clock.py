"""When a test was done: a phone's clock may be wrong, the way to the service may be long, and neither changes what
came first.
"""

from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Any

import pytest
from fastapi.testclient import TestClient
from hypothesis import given
from hypothesis import strategies as st

from service.testlog.core import CLOCK_ERROR_LEAST, Way, clock_error, corrected, in_phone_order
from service.testlog.housekeeping import verify
from service.testlog.queries import events
from tests.support.program import START, Running, op
from tests.testlog.support import GOOD, OPEN_2, bench

URL = "/api/v1/tests"
NOW = datetime(2026, 9, 21, 22, tzinfo=UTC)
WAYS = st.floats(0, 20).map(lambda seconds: timedelta(seconds=seconds))
"""How long a request is on its way: a phone gives it up after twenty seconds."""
ERRORS = st.one_of(st.floats(-300, 300), st.floats(-1e8, 1e8)).map(lambda seconds: timedelta(seconds=seconds))


@given(ERRORS, st.lists(WAYS, min_size=1, max_size=5))
def test_a_clock_is_corrected_by_what_was_least_on_its_way(error: timedelta, ways: list[timedelta]) -> None:
    *earlier, late = [error + way for way in ways]
    found = clock_error(late, earlier)
    assert found == (error + min(ways) if abs(error + min(ways)) > CLOCK_ERROR_LEAST else timedelta())


@given(st.floats(-120, 120), st.floats(0, 86400))
def test_a_clock_that_is_nearly_right_is_taken_at_its_word(late: float, ago: float) -> None:
    told = NOW - timedelta(seconds=ago)
    assert corrected(told, NOW - timedelta(seconds=late), NOW) == told


@given(ERRORS, st.lists(st.tuples(st.floats(0, 400), WAYS), min_size=2, max_size=6), st.randoms())
def test_tests_of_one_phone_keep_their_order(error: timedelta, told: list[tuple[float, timedelta]], dice: Any) -> None:
    """Whatever the clock and the ways: kept in this order, and arriving in any, each dated when it arrives."""
    steps = sorted({round(at, 3) for at, _ in told})
    sent = NOW - error + timedelta(seconds=400)
    arrivals = list(zip(steps, (way for _, way in told), strict=False))
    dice.shuffle(arrivals)
    known: list[Way] = []
    for step, way in arrivals:
        phone, here = NOW - error + timedelta(seconds=step), sent + error + way
        earlier = [each.late for each in known if each.late is not None]
        at = corrected(phone, sent, here, earlier=earlier)
        new = Way(phone, sent, here, at)
        known.append(Way(phone, sent, here, in_phone_order(new, known)))
    known.sort(key=lambda each: each.phone_at)
    assert all(one.at < other.at for one, other in pairwise(known))
    assert all(abs(each.at - (each.phone_at + error)) < CLOCK_ERROR_LEAST + timedelta(seconds=21) for each in known)


def sent(
    client: TestClient, code: str, joined: Any, told: datetime, at: datetime | None = None, **more: Any
) -> dict[str, Any]:
    """Post a test as a phone does, and what the service answers."""
    body = {"id": op(), "item": code, "joined": joined, "tested_at": told.isoformat()} | more
    answer = client.post(URL, json=body | ({"sent_at": at.isoformat()} if at else {}))
    assert answer.status_code == 201, answer.text
    found: dict[str, Any] = answer.json()
    return found


def verdicts(program: Running) -> list[str]:
    """The verdicts in the log, the oldest first."""
    return [one["verdict"] for one in program.viewer.get(URL).json()["items"]][::-1]


@pytest.mark.parametrize("ahead", [0, 110, 125, -118, 3600 * 24 * 400])
@pytest.mark.parametrize("overtaken", [False, True])
def test_a_fail_that_was_long_on_its_way_stays_before_the_pass(program: Running, ahead: int, overtaken: bool) -> None:
    """Fail, and ten seconds later pass; the fail takes fifteen seconds to come through. `ahead`: the phone's clock."""
    (code,) = bench(program, "xlr3").codes
    start = START + timedelta(seconds=ahead)
    later = start + timedelta(seconds=10)
    for joined, done, seconds in ((GOOD, later, 14), (OPEN_2, start, 15))[:: 1 if overtaken else -1]:
        program.clock.now = START + timedelta(seconds=seconds if overtaken or joined == OPEN_2 else 25)
        sent(program.crew, code, joined, done, done)
    assert verdicts(program) == ["fail", "pass"]
    assert verify(program.store, program.clock.now) == []


def test_a_short_way_tells_for_those_after_it_how_wrong_the_clock_is(program: Running) -> None:
    one, other = bench(program, "xlr3", "xlr3").codes
    phone = START - timedelta(hours=3)
    sent(program.crew, one, GOOD, phone, phone)
    program.clock.ahead(seconds=75)  # done a minute later, and fifteen seconds on its way
    sent(program.crew, other, GOOD, phone + timedelta(seconds=60), phone + timedelta(seconds=60))
    newest = program.viewer.get(URL).json()["items"][0]
    assert datetime.fromisoformat(newest["tested_at"]) == START + timedelta(seconds=60)


def test_what_is_not_sent_by_a_clock_is_taken_at_its_word(program: Running) -> None:
    at = bench(program, "xlr3")
    (code,) = at.codes
    sent(program.crew, code, GOOD, START - timedelta(days=2, minutes=5))
    with program.store.reading() as db:
        (event,) = events(db, [at.ids[code]])[at.ids[code]]
    assert event.at == START - timedelta(days=2, minutes=5)
    ahead = {
        "id": op(),
        "item": code,
        "joined": GOOD,
        "tested_at": (START + timedelta(minutes=11)).isoformat(),
    }
    assert program.crew.post(URL, json=ahead).status_code == 422
    almost = ahead | {"sent_at": (START + timedelta(minutes=1)).isoformat()}
    assert "in the future" in program.crew.post(URL, json=almost).json()["detail"]
    sent(program.crew, code, OPEN_2, START + timedelta(minutes=2))
    sent(program.crew, code, GOOD, START + timedelta(minutes=3))  # both are dated now, and keep their order
    assert verdicts(program) == ["pass", "fail", "pass"]


def test_a_slow_upload_is_dated_by_when_it_began(program: Running) -> None:
    """The head of a request is here at once, and its body three minutes later: that says nothing about the clock."""
    (code,) = bench(program, "xlr3").codes
    body = (
        f'{{"id": "{op()}", "item": "{code}", "joined": [["A1", "B1"], ["A2", "B2"], ["A3", "B3"]], '
        f'"tested_at": "{START.isoformat()}", "sent_at": "{START.isoformat()}"}}'
    ).encode()

    def slowly() -> Any:
        yield body[:40]
        program.clock.ahead(minutes=3)
        yield body[40:]

    answer = program.crew.post(URL, content=slowly(), headers={"Content-Type": "application/json"})
    assert answer.status_code == 201, answer.text
    (test,) = program.viewer.get(URL).json()["items"]
    assert datetime.fromisoformat(test["tested_at"]) == START
    assert datetime.fromisoformat(test["received_at"]) == START + timedelta(minutes=3)
