"""Phones that save until they hear that it was saved, and the reckoning afterwards.

Each phone makes an entry, sends it until it is acknowledged, and goes on to the next. Now and then it hangs up before
it hears the answer, as a phone does that goes behind the truck, and sends again. Every entry carries its own id in
its text as well, so that the reckoning does not rest on what is being tested.
"""

import json
import threading
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from http.client import HTTPConnection, HTTPException
from random import Random
from typing import Any
from uuid import uuid4

from sqlalchemy import select, text

from service.gear.models import Item
from service.store.engine import is_sqlite
from service.store.sessions import Store
from service.testlog.housekeeping import verify
from service.testlog.models import Test
from tests.crash.service import Service

PHONES = 8
GOOD = [["A1", "B1"], ["A2", "B2"], ["A3", "B3"]]
HANGS_UP = 0.05
LATER = (429, 503)
_NEVER = threading.Event()
"""Never set: what a phone waits for before it tries again."""


@dataclass
class Load:
    """What the phones were told. `suppressed` entries were saved before the answer got lost, and not saved again;
    of those `hung_up` lost it because the phone did.
    """

    service: Service
    seed: int = 1
    acked: list[str] = field(default_factory=list)
    suppressed: int = 0
    hung_up: int = 0
    refused: list[str] = field(default_factory=list)
    _heard: threading.Condition = field(default_factory=threading.Condition)
    _over: threading.Event = field(default_factory=threading.Event)

    def wait_for(self, more: int) -> None:
        """Wait until so many more entries are acknowledged."""
        with self._heard:
            there = len(self.acked)
            enough = self._heard.wait_for(lambda: self.refused or len(self.acked) >= there + more, 120)
        assert enough, "the phones hear nothing any more"
        assert not self.refused, self.refused[0]

    @contextmanager
    def going(self) -> Iterator[None]:
        """The phones send while the block runs, and until each has heard of its last entry."""
        phones = [threading.Thread(target=self._phone, args=(number,)) for number in range(PHONES)]
        for phone in phones:
            phone.start()
        try:
            yield
        except BaseException:
            self._refuse("the service did not come back")  # then nobody waits for it
            raise
        finally:
            self._over.set()
            for phone in phones:
                phone.join(60)
            assert not any(phone.is_alive() for phone in phones), "a phone never heard of its entry"
        assert not self.refused, self.refused[0]

    def _phone(self, number: int) -> None:
        random = Random(self.seed * 1000 + number)
        connection = self.service.connection()
        while not self._over.is_set() and not self.refused:
            entry = str(uuid4())
            path, body = self._item(entry) if random.random() < 0.1 else self._test(entry, random)
            self._send(connection, path, body, entry, random.random() < HANGS_UP)
        connection.close()

    def _send(self, connection: HTTPConnection, path: str, body: bytes, entry: str, hangs_up: bool) -> None:
        headers = {
            "Authorization": f"Bearer {self.service.program.token}",
            "Content-Type": "application/json",
        }
        hung_up = False
        while not self.refused:
            sent = datetime.now(UTC)
            try:
                connection.request("POST", path, body, headers)
                if hangs_up and not hung_up:
                    hung_up = True
                    # Half of them once the answer is on its way: that entry is saved for certain.
                    if entry < "8":
                        connection.sock.recv(1)
                    connection.close()
                    _NEVER.wait(0.05)  # behind the truck: what was sent arrives meanwhile
                    continue
                answer = connection.getresponse()
                said = answer.read()
            except (OSError, HTTPException):
                connection.close()
                _NEVER.wait(0.02)
                continue
            if answer.status == 201:
                return self._acked(entry, _was_there(said, sent), hung_up)
            if answer.status not in LATER or not answer.getheader("Retry-After"):
                self._refuse(f"{answer.status} {said.decode()[:300]}")
                return None
            _NEVER.wait(0.05)
        return None

    def _acked(self, entry: str, was_there: bool, hung_up: bool) -> None:
        with self._heard:
            self.acked.append(entry)
            self.suppressed += was_there
            self.hung_up += was_there and hung_up
            self._heard.notify_all()

    def _refuse(self, said: str) -> None:
        with self._heard:
            self.refused.append(said)
            self._heard.notify_all()

    def _test(self, entry: str, random: Random) -> tuple[str, bytes]:
        code = random.choice(self.service.program.codes)
        told: dict[str, Any] = {"id": entry, "item": code, "joined": GOOD, "note": entry}
        return "/api/v1/tests", json.dumps(told).encode()

    def _item(self, entry: str) -> tuple[str, bytes]:
        told = {"id": entry, "kind": "cable", "wiring": "xlr3", "length": "10 ft", "label": entry}
        return "/api/v1/items", json.dumps(told).encode()


def _was_there(said: bytes, sent: datetime) -> bool:
    """Whether a test was received before it was last sent: an earlier try had got through."""
    answer = json.loads(said)
    return isinstance(answer, dict) and datetime.fromisoformat(answer["received_at"]) < sent


@dataclass(frozen=True)
class Reckoning:
    """What became of the entries, and what is wrong with the database."""

    acked: int
    lost: list[str]
    doubled: list[str]
    broken: list[str]


def reckoned(load: Load) -> Reckoning:
    """Compare what the phones were told with what the database holds."""
    store = Store(load.service.program.url)
    with store.reading() as db:
        found = Counter(db.scalars(select(Test.note))) + Counter(db.scalars(select(Item.label)))
        broken = []
        if is_sqlite(store.url):
            broken = [said for (said,) in db.execute(text("PRAGMA integrity_check")) if said != "ok"]
            broken += [str(row) for row in db.execute(text("PRAGMA foreign_key_check"))]
    broken += verify(store, datetime.now(UTC))
    store.close()
    del found[""]
    lost = [entry for entry in load.acked if not found[entry]]
    return Reckoning(len(load.acked), lost, [entry for entry, count in found.items() if count > 1], broken)
