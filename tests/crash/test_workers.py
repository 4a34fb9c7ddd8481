"""Several workers on PostgreSQL are one service: what one of them knows, all do."""

import json
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path
from uuid import uuid4

import pytest
from sqlalchemy import select

from service.store.sessions import Store
from service.testlog.models import Test
from tests.crash.load import GOOD, LATER, Load, reckoned
from tests.crash.service import Service, prepared, running

WORKERS = 2
PHONES = 6


def until_answered(service: Service, entry: str, number: int) -> tuple[int, str]:
    """Send a test until there is an answer, each time over a new connection, which any worker may take."""
    body = json.dumps({"id": entry, "item": service.program.codes[number], "joined": GOOD, "note": entry})
    headers = {"Authorization": f"Bearer {service.program.token}", "Content-Type": "application/json"}
    while True:
        with closing(service.connection()) as connection:
            connection.request("POST", "/api/v1/tests", body, headers)
            answer = connection.getresponse()
            said = answer.read().decode()
        if answer.status not in LATER:
            return answer.status, said


def workers_that_answer(service: Service) -> int:
    """How many processes below the service's own accept connections: those that hold a socket and were spawned."""
    children = Path(f"/proc/{service.process.pid}/task/{service.process.pid}/children").read_text().split()
    commands = [Path(f"/proc/{child}/cmdline").read_bytes() for child in children]
    return sum(b"spawn_main" in command for command in commands)


@pytest.mark.postgres
def test_the_same_entry_sent_to_all_workers_at_once_is_saved_once(postgres_url: str) -> None:
    entries = [str(uuid4()) for _ in range(15)]
    with running(prepared(postgres_url), workers=WORKERS) as service:
        assert workers_that_answer(service) == WORKERS
        with ThreadPoolExecutor(PHONES) as phones:
            for number, entry in enumerate(entries):
                told = list(
                    phones.map(lambda _, e=entry, n=number: until_answered(service, e, n), range(PHONES))
                )
                assert {status for status, _ in told} == {201}
                assert len({said for _, said in told}) == 1
            other = phones.submit(
                until_answered, service, entries[0], 1
            ).result()  # the same id for another item
        assert other[0] == 422
        load = Load(service)
        with load.going():
            load.wait_for(60)
    found = reckoned(load)
    assert (found.lost, found.doubled, found.broken) == ([], [], [])
    store = Store(postgres_url)
    with store.reading() as db:
        saved = Counter(note for note in db.scalars(select(Test.note)) if note in entries)
    store.close()
    assert saved == dict.fromkeys(entries, 1)
