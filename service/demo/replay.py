"""Replaying what happens in the demo through the actions that people use."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from uuid import UUID, uuid5

from sqlalchemy.orm import Session

from service.crew.core import Actor, Who
from service.demo import scenario
from service.demo.scenario import (
    Closed,
    Happening,
    MarkedAsWrong,
    Opened,
    Removed,
    Repaired,
    SuspectStory,
    Tested,
    TestedThrough,
)
from service.gear.core import End, ItemState
from service.gear.models import Item
from service.retire.decisions.actions import overrule
from service.retire.decisions.core import Action, NewLeadDecision
from service.season.queries import next_events
from service.sessions import actions as sessions
from service.testlog import actions as testlog
from service.testlog.core import Evidence, NewRepair, NewTest
from service.testlog.logging_tests import log_test
from service.testlog.marks.actions import mark
from service.wiring.builtin import BUILTIN
from service.wiring.faults import rebuild
from service.wiring.wirings import names

_IDS = UUID("6a1f7a52-0d0e-4d0c-9d5e-3f0b1c2d4e5f")


def demo_id(*parts: object) -> UUID:
    """An id of the demo, the same every time for the same arguments."""
    return uuid5(_IDS, " ".join(map(str, parts)))


class Replay:
    """Replays the demo with its people, its items in their order, and their codes."""

    def __init__(
        self, db: Session, people: Mapping[str, Who], items: Sequence[Item], codes: Mapping[UUID, str]
    ) -> None:
        self.db, self.people, self.items, self.codes = db, people, items, codes

    def do(self, happening: Happening) -> None:
        """Do what happened, as of its time."""
        lead = self.people[scenario.LEAD]
        match happening:
            case Opened():
                self._open(happening)
                return
            case Closed():
                session_id = demo_id("session", happening.evening)
                sessions.close_session(self.db, session_id, happening.note, lead, happening.at)
                return
            case TestedThrough():
                self._test_through(happening)
                return
            case MarkedAsWrong():
                mark(
                    self.db,
                    demo_id("mark", happening.at.isoformat()),
                    self._test_id(happening.test),
                    happening.note,
                    self.people[happening.test.by],
                    happening.at,
                    scenario.ZONE,
                )
                return
        item = self.items[happening.item]
        match happening:
            case Tested():
                self._test(happening, item)
            case Repaired():
                length = item.length_mm - happening.cut_mm if happening.cut_mm else None
                repair = NewRepair(
                    id=demo_id("repair", happening.at.isoformat(), happening.item),
                    item=self.codes[item.id],
                    what=happening.what,
                    end=End(happening.end),
                    length_mm=length,
                    cost_cents=happening.cents,
                )
                testlog.log_repair(self.db, repair, lead, happening.at, scenario.ZONE)
            case SuspectStory():
                op = demo_id("crackled", happening.item)
                testlog.call_suspect(
                    self.db,
                    item.id,
                    op,
                    "crackled in the run-through",
                    self.people[happening.by],
                    happening.at,
                )
            case Removed():
                to = ItemState(happening.state)
                testlog.change_state(self.db, item.id, to, happening.why, lead, happening.at, scenario.ZONE)

    def _open(self, opened: Opened) -> None:
        new = sessions.NewSession(
            id=demo_id("session", opened.evening),
            title=f"Test evening, {opened.evening:%B} {opened.evening.day}",
            on=opened.evening,
            codes=[self.codes[self.items[item].id] for item in opened.items],
        )
        sessions.open_session(self.db, new, self.people[scenario.LEAD], opened.at)

    def plan(self, on: date, now: datetime) -> None:
        """Open the session of a future evening."""
        title = "Second evening of the round"
        new = sessions.NewSession(id=demo_id("session", "next"), title=title, on=on, why=sessions.USUAL)
        sessions.open_session(self.db, new, self.people[scenario.LEAD], now)

    def decline(self, item: Item, today: date, now: datetime) -> None:
        """Let the lead decline advice about an item until the day before the next event, with a reason."""
        event = next_events(self.db, today, 1)[0]
        word = NewLeadDecision(Action.WATCH, scenario.DECLINED[1], event.on - timedelta(days=1))
        overrule(self.db, event.id, item.id, word, Actor(self.people[scenario.LEAD], now, scenario.ZONE))

    def _test(self, tested: Tested, item: Item) -> None:
        wiring = BUILTIN[item.wiring]
        groups = rebuild(wiring, tested.finding.faults).groups
        new = NewTest(
            id=self._test_id(tested),
            item=self.codes[item.id],
            joined=[names(wiring, group) for group in groups],
            evidence=tuple(Evidence(kind, End(end), note) for kind, end, note in tested.finding.evidence),
            tested_at=tested.at,
            session=demo_id("session", tested.evening) if tested.evening else None,
        )
        log_test(self.db, new, self.people[tested.by], tested.at, scenario.ZONE)

    def _test_through(self, tested: TestedThrough) -> None:
        wiring = BUILTIN["xlr3x4"]
        wires = [[wire.a, wire.b] for lane in tested.lanes for wire in wiring.lanes[lane]]
        first, *others = [self.codes[self.items[item].id] for item in tested.items]
        new = NewTest(
            id=demo_id("test", tested.at.isoformat(), *tested.items),
            item=first,
            through=tuple(others),
            joined=wires,
            probed=[contact for wire in wires for contact in wire],
            tested_at=tested.at,
        )
        log_test(self.db, new, self.people[tested.by], tested.at, scenario.ZONE)

    def _test_id(self, tested: Tested) -> UUID:
        return demo_id("test", tested.at.isoformat(), tested.item)
