"""Many phones at once: the same entry counts once, and what is kept never disagrees with history."""

from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from random import Random
from typing import Any

from service.chores import CHORES
from service.kit.problems import Busy
from service.testlog.effects import refresh_tested_flags
from service.testlog.housekeeping import keep_house, verify
from service.testlog.queries import events
from tests.support.program import Running, op
from tests.testlog.support import GOOD, OPEN_2, bench

URL = "/api/v1/tests"


def test_eight_phones_at_once(program: Running) -> None:
    """Tests alone and through others, in every order of items, each sent twice, while housekeeping runs."""
    at = bench(program, *["xlr3"] * 4)
    random = Random(5)

    def entry() -> dict[str, Any]:
        item, *through = random.sample(at.codes, random.choice([1, 1, 2, 3]))
        now = program.clock.now.isoformat()
        joined = random.choice([GOOD, OPEN_2])
        return {"id": op(), "item": item, "through": through, "tested_at": now, "joined": joined}

    entries = [entry() for _ in range(24)]

    def turn() -> None:
        with suppress(Busy):  # told to come again, and the next turn does
            keep_house(program.store, program.clock.now, CHORES)

    def send(body: dict[str, Any]) -> tuple[int, Any]:
        answer = program.crew.post(URL, json=body)
        return answer.status_code, answer.json()

    with ThreadPoolExecutor(8) as phones:
        kept = [phones.submit(turn) for _ in range(3)]
        first = list(phones.map(send, entries + entries))
        for each in kept:
            each.result()
    assert {status for status, _ in first} <= {201, 409, 503}  # told to send again, never broken
    again = [send(each) for each in entries]
    assert {status for status, _ in again} == {201}
    answers = {body["id"]: body for status, body in first + again if status == 201}
    assert all(answers[body["id"]] == body for status, body in first + again if status == 201)
    assert len(program.viewer.get(URL, params={"limit": 200}).json()["items"]) == len(entries)
    assert verify(program.store, program.clock.now) == []
    suspects = [at.flags(code) for code in at.codes]
    with program.store.writing() as db:
        histories = events(db, at.ids.values())
        refresh_tested_flags(db, histories, dict.fromkeys(histories), program.clock.now)
    assert [at.flags(code) for code in at.codes] == suspects
