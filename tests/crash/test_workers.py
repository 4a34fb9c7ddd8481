"""Several workers and hosts on one PostgreSQL are one service: what one of them knows, all do."""

import json
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from uuid import uuid4

import pytest
from sqlalchemy import select

from service.crew.actions import make_token
from service.crew.core import Role
from service.crew.queries import people_named
from service.store.sessions import Store
from service.testlog.models import Test
from tests.crash.load import GOOD, LATER, Load, reckoned
from tests.crash.service import Program, Service, prepared, running

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
    return sum(_was_spawned(child) and _holds_a_socket(child) for child in children)


def _was_spawned(process: str) -> bool:
    return b"spawn_main" in Path(f"/proc/{process}/cmdline").read_bytes()


def _holds_a_socket(process: str) -> bool:
    """Unlike the process that works tables out."""
    return any(str(file.readlink()).startswith("socket:") for file in Path(f"/proc/{process}/fd").iterdir())


@pytest.mark.postgres
def test_the_same_entry_sent_to_all_workers_and_hosts_at_once_is_saved_once(postgres_url: str) -> None:
    entries = [str(uuid4()) for _ in range(15)]
    program = prepared(postgres_url)
    with running(program, workers=WORKERS) as service, running(program) as other_host:
        assert workers_that_answer(service) == WORKERS
        hosts = (service, other_host)
        with ThreadPoolExecutor(PHONES) as phones:
            for number, entry in enumerate(entries):
                sent = [phones.submit(until_answered, hosts[phone % 2], entry, number) for phone in range(PHONES)]
                told = [each.result() for each in sent]
                assert {status for status, _ in told} == {201}
                assert len({said for _, said in told}) == 1
        for host in hosts:  # the same id for another item
            assert until_answered(host, entries[0], 1)[0] == 422
        access_ends_on_all(program, hosts)
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


def access_ends_on_all(program: Program, hosts: Sequence[Service]) -> None:
    """Somebody's access that one host ends has ended on every other at the next request."""
    store = Store(program.url)
    with store.writing() as db:
        token = make_token(db, "Helper", Role.CREW, datetime.now(UTC))
        helper = people_named(db, "Helper")[0].id
    store.close()
    assert [status(host, "GET", "/api/v1/tests", token) for host in hosts] == [200, 200]
    assert status(hosts[0], "POST", f"/crew/people/{helper}/end", program.token) == 303
    assert [status(host, "GET", "/api/v1/tests", token) for host in hosts] == [401, 401]


def status(host: Service, method: str, path: str, token: str) -> int:
    """The status of one answer."""
    with closing(host.connection()) as connection:
        connection.request(method, path, headers={"Authorization": f"Bearer {token}"})
        return connection.getresponse().status
