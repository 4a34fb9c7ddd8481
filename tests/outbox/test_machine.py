"""A phone, a line that fails at will, and the service: whatever happens in between, no test is lost and none doubled.

The phone here keeps the rules of static/outbox/rules.js (an entry goes when a receipt names it, and only then); the
service is the real one.
"""

from contextlib import ExitStack
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from fastapi.testclient import TestClient
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule
from sqlalchemy import select

from service.testlog.models import Test
from tests.support.program import op, running
from tests.testlog.support import GOOD, OPEN_2, bench

FAULTS = st.sampled_from(["none", "cut before", "cut after", "torn", "gateway", "not signed in"])


class Phone(RuleBasedStateMachine):
    """Two phones of the same crew, each with its outbox."""

    def __init__(self) -> None:
        super().__init__()
        self.stack = ExitStack()
        folder = self.stack.enter_context(TemporaryDirectory())
        self.program = self.stack.enter_context(running(f"sqlite:///{Path(folder) / 'coilbook.db'}"))
        self.bench = bench(self.program, "xlr3", "xlr3")
        self.clients: list[TestClient] = [self.program.crew, self.program.lead]
        self.outboxes: list[list[dict[str, Any]]] = [[], []]
        self.made: set[str] = set()

    @initialize()
    def starts_empty(self) -> None:
        assert self.logged() == []

    @rule(phone=st.integers(0, 1), item=st.integers(0, 1), joined=st.sampled_from([GOOD, OPEN_2]))
    def a_test_is_kept(self, phone: int, item: int, joined: list[list[str]]) -> None:
        key = op()
        self.made.add(key)
        self.outboxes[phone].append(
            {
                "id": key,
                "item": self.bench.codes[item],
                "joined": joined,
                "tested_at": self.program.clock.now.isoformat(),
            }
        )

    @rule(phone=st.integers(0, 1), fault=FAULTS)
    def the_oldest_is_sent(self, phone: int, fault: str) -> None:
        for entry in self.outboxes[phone][:1]:
            if self.answer(phone, entry, fault) == entry["id"]:
                self.outboxes[phone].remove(entry)

    @rule(phone=st.integers(0, 1), fault=FAULTS)
    def all_are_sent_twice_over(self, phone: int, fault: str) -> None:
        """As two pages without a lock would."""
        for entry in [*self.outboxes[phone], *self.outboxes[phone]]:
            if self.answer(phone, entry, fault) == entry["id"] and entry in self.outboxes[phone]:
                self.outboxes[phone].remove(entry)

    @rule(minutes=st.integers(0, 600))
    def time_passes(self, minutes: int) -> None:
        self.program.clock.ahead(minutes=minutes)

    def answer(self, phone: int, entry: dict[str, Any], fault: str) -> str | None:
        """Send an entry down the line; the id that the receipt names, if one came."""
        if fault in ("cut before", "gateway", "not signed in"):
            return None
        sent = entry | {"sent_at": self.program.clock.now.isoformat()}
        answer = self.clients[phone].post("/api/v1/tests", json=sent)
        assert answer.status_code == 201, answer.text
        return answer.json()["id"] if fault == "none" else None

    def logged(self) -> list[str]:
        with self.program.store.reading() as db:
            return [str(key) for key in db.scalars(select(Test.id))]

    @invariant()
    def nothing_is_lost_and_nothing_doubled(self) -> None:
        waiting = {entry["id"] for outbox in self.outboxes for entry in outbox}
        logged = self.logged()
        assert len(logged) == len(set(logged))
        assert set(logged) | waiting == self.made

    def teardown(self) -> None:
        for phone, outbox in enumerate(self.outboxes):
            for entry in list(outbox):
                assert self.answer(phone, entry, "none") == entry["id"]
        assert sorted(self.logged()) == sorted(self.made)
        self.stack.close()


TestPhone = Phone.TestCase
TestPhone.settings = settings(max_examples=12, stateful_step_count=25, deadline=None)
