"""Random histories of a line of four pieces: tests alone and through several, lane by lane or side by side, repairs,
voids, marks and what a lead decides. Whatever comes in whatever order: no piece with an open fault is in service, a
test proves of each piece the lanes that it went through and no more, and what is kept beside the log is what it says.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from uuid import UUID

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import Bundle, RuleBasedStateMachine, consumes, invariant, rule

from service.chores import CHORES
from service.gear.core import FlagKind, ItemState
from service.kit.dates import local_date
from service.season.core import DueState, What, due_in_seasons
from service.season.core import HistoryEntry as Day
from service.season.models import ItemDue
from service.testlog.actions import void_test
from service.testlog.housekeeping import keep_house, verify
from service.testlog.marks.actions import let_stand, mark
from service.testlog.queries import events, histories
from tests.support.program import op, running
from tests.testlog.support import FALL, ZONE, bench

CABLE, HUB, TRUNK, FAN = range(4)
LANES = {CABLE: [""], HUB: list("1234"), TRUNK: list("1234"), FAN: list("1234")}
SINGLE = [(CABLE,), (HUB,), (CABLE, HUB), (CABLE, HUB, TRUNK), (CABLE, HUB, TRUNK, FAN), (HUB, TRUNK)]
SIDE_BY_SIDE = [(HUB,), (FAN,), (HUB, TRUNK), (HUB, TRUNK, FAN)]
"""What a test may go through, along a single line and lane by lane."""


@dataclass
class Told:
    """A test as we know it: when, through which pieces, which of their lanes it proved and on which it failed."""

    at: datetime
    pieces: tuple[int, ...]
    proves: dict[int, set[str]]
    fails: dict[int, set[str]]
    doubted: bool = False

    @property
    def alone(self) -> bool:
        return len(self.pieces) == 1


@dataclass
class Log:
    """What stands: tests by their ids, and when each piece was repaired."""

    tests: dict[UUID, Told] = field(default_factory=dict)
    repairs: list[tuple[datetime, int]] = field(default_factory=list)

    def of_lane(self, piece: int, lane: str) -> Iterator[tuple[datetime, What]]:
        """What happened to one lane, by the rule in words."""
        told = [(at, What.REPAIR) for at, one in self.repairs if one == piece]
        for test in self.tests.values():
            if piece in test.pieces:
                failed = test.alone and bool(test.fails[piece])
                proven = not failed and not test.doubted and lane in test.proves[piece]
                told.append((test.at, What.FAIL if failed else What.PASS if proven else What.PARTIAL))
        yield from sorted(told)

    def waits_for(self, piece: int) -> ItemState:
        """Where its worst lane leaves a piece: a fail ends with a repair, a repair with a pass of each lane."""
        waits = set()
        for lane in LANES[piece]:
            last = What.PASS
            for _, what in self.of_lane(piece, lane):
                if what in (What.FAIL, What.REPAIR) or (what is What.PASS and last is What.REPAIR):
                    last = what
            waits.add(last)
        if What.FAIL in waits:
            return ItemState.QUARANTINED
        return ItemState.IN_REPAIR if What.REPAIR in waits else ItemState.IN_SERVICE

    def suspect_on(self, piece: int, failed: Told) -> set[str]:
        """The lanes on which a failed test through several leaves a piece suspect."""
        if failed.alone or piece not in failed.pieces:
            return set()
        single = CABLE in failed.pieces
        left = set()
        for lane in failed.fails[piece]:
            on = {one: failed.fails[one] if single else {lane} for one in failed.pieces}
            if not any(self._found(one, lanes, failed.at) for one, lanes in on.items()):
                proven = any(
                    test.at > failed.at and not test.doubted and lane in test.proves.get(piece, ())
                    for test in self.tests.values()
                )
                left |= set() if proven else {lane}
        return left

    def _found(self, piece: int, lanes: set[str], at: datetime) -> bool:
        mended = max((when for when, one in self.repairs if one == piece and when < at), default=None)
        return any(
            test.alone
            and not test.doubted
            and test.fails.get(piece, set()) & lanes
            and (test.at > at or mended is None or test.at > mended)
            for test in self.tests.values()
        )


class Line(RuleBasedStateMachine):
    """One cable, a hub, a multicore and the hub at its other end."""

    tests = Bundle("tests")
    marked = Bundle("marked")

    def __init__(self) -> None:
        super().__init__()
        self.folder = TemporaryDirectory()
        self.run = running(f"sqlite:///{Path(self.folder.name) / 'coilbook.db'}")
        self.program = self.run.__enter__()
        self.at = bench(self.program, "xlr3", "8p8c-to-xlr4", "8p8c", "8p8c-to-xlr4")
        self.log = Log()
        self.tick()
        keep_house(self.program.store, self.program.clock.now, CHORES)

    def teardown(self) -> None:
        self.run.__exit__(None, None, None)
        self.folder.cleanup()

    def tick(self) -> datetime:
        self.program.clock.ahead(seconds=1)
        return self.program.clock.now

    @rule(
        target=tests,
        pieces=st.sampled_from(SINGLE),
        lane=st.sampled_from("1234"),
        good=st.booleans(),
        ago=st.integers(0, 600),
    )
    def along_a_line(self, pieces: tuple[int, ...], lane: str, good: bool, ago: int) -> UUID:
        joined = [[f"A{contact}", f"B{contact}"] for contact in "123"][0 if good else 1 :]
        took = {piece: {lane} if piece != CABLE else {""} for piece in pieces}
        more = {"wiring": "xlr3"} if pieces[0] != CABLE else {}
        more |= {"lane": lane} if pieces != (CABLE,) else {}
        none: dict[int, set[str]] = {piece: set() for piece in pieces}
        proves, fails = (took, none) if good else (none, took)
        return self.log_test(pieces, joined, ago, proves, fails, **more)

    @rule(
        target=tests,
        pieces=st.sampled_from(SIDE_BY_SIDE),
        bad=st.sets(st.sampled_from("1234"), max_size=2),
        reached=st.sets(st.sampled_from("1234"), min_size=1),
        ago=st.integers(0, 600),
    )
    def lane_by_lane(self, pieces: tuple[int, ...], bad: set[str], reached: set[str], ago: int) -> UUID:
        wires = [[f"A{lane}.{contact}", f"B{lane}.{contact}"] for lane in sorted(reached) for contact in "123"]
        joined = [pair for pair in wires if pair[0][1:] not in {f"{lane}.1" for lane in bad}]
        proves, fails = reached - bad, reached & bad
        return self.log_test(
            pieces,
            joined,
            ago,
            dict.fromkeys(pieces, proves),
            dict.fromkeys(pieces, fails),
            wiring="xlr3x4",
            probed=[contact for pair in wires for contact in pair],
        )

    def log_test(
        self,
        pieces: tuple[int, ...],
        joined: list[list[str]],
        ago: int,
        proves: dict[int, set[str]],
        fails: dict[int, set[str]],
        **more: object,
    ) -> UUID:
        first, *others = [self.at.codes[piece] for piece in pieces]
        # No two at one instant: the log may tell those apart otherwise than we do.
        tested_at = self.tick() - timedelta(hours=ago)
        answer = self.at.test(first, joined, through=tuple(others), tested_at=tested_at, **more)
        test_id = UUID(answer["id"])
        self.log.tests[test_id] = Told(tested_at, pieces, proves, fails)
        return test_id

    @rule(piece=st.sampled_from(range(4)))
    def repair(self, piece: int) -> None:
        self.log.repairs.append((self.tick(), piece))
        self.at.repair(self.at.codes[piece])

    @rule(test_id=consumes(tests))
    def void(self, test_id: UUID) -> None:
        self.tick()
        self.at.void(str(test_id))
        del self.log.tests[test_id]

    @rule(target=marked, test_id=consumes(tests))
    def mark_as_wrong(self, test_id: UUID) -> UUID:
        with self.program.store.writing() as db:
            mark(db, UUID(op()), test_id, "", self.at.lead, self.tick(), ZONE)
        self.log.tests[test_id].doubted = True
        return test_id

    @rule(test_id=consumes(marked), stands=st.booleans())
    def decide(self, test_id: UUID, stands: bool) -> None:
        with self.program.store.writing() as db:
            if stands:
                let_stand(db, test_id, "seen", self.at.lead, self.tick(), ZONE)
            else:
                void_test(db, test_id, "wrong cable", self.at.lead, self.tick(), ZONE)
        if stands:
            self.log.tests[test_id].doubted = False
        else:
            del self.log.tests[test_id]

    @rule(days=st.integers(1, 30))
    def let_time_pass(self, days: int) -> None:
        self.program.clock.ahead(days=days)
        keep_house(self.program.store, self.program.clock.now, CHORES)

    @invariant()
    def each_piece_is_where_its_lanes_leave_it(self) -> None:
        today = local_date(self.program.clock.now, ZONE)
        for piece, code in enumerate(self.at.codes):
            assert self.at.state(code) == self.log.waits_for(piece)
            suspects = [self.log.suspect_on(piece, test) for test in self.log.tests.values()]
            assert len(self.at.flags(code, FlagKind.SUSPECT)) == len([lanes for lanes in suspects if lanes])
            states = []
            for lane in LANES[piece]:
                if any(lane in lanes for lanes in suspects):
                    states.append(DueState.BLOCKED)
                    continue
                days = [Day(local_date(at, ZONE), what) for at, what in self.log.of_lane(piece, lane)]
                states.append(due_in_seasons([FALL], FALL.starts, days, today).state)
            with self.program.store.reading() as db:
                assert db.get_one(ItemDue, self.at.ids[code]).state == min(states, key=list(DueState).index)

    @invariant()
    def what_is_kept_is_what_the_log_says(self) -> None:
        assert verify(self.program.store, self.program.clock.now) == []
        with self.program.store.reading() as db:
            found = histories(db)
            assert found == {key: events(db, [key])[key] for key in found}


ListedTest = Line.TestCase
ListedTest.settings = settings(
    max_examples=15, stateful_step_count=20, deadline=None, suppress_health_check=list(HealthCheck)
)
