"""The due cache is the pure rule's answer after any sequence of actions, what is remembered is what the log says, and
housekeeping finds nothing to do twice.
"""

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from uuid import UUID, uuid4
from zoneinfo import ZoneInfo

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import Bundle, RuleBasedStateMachine, consumes, initialize, invariant, rule
from sqlalchemy.orm import Session

from service.chores import CHORES
from service.crew.core import Who
from service.crew.models import Program
from service.crew.queries import first_lead
from service.gear.actions import NewItem, add_items, place, place_for
from service.gear.core import PlaceKind
from service.kit.dates import local_date
from service.retire.decisions.queries import failures, repairs
from service.season.actions import add_season, change_season, delist, enlist
from service.season.core import HistoryEntry, Season, What, due_in_seasons, split
from service.season.models import ItemDue, SeasonRow
from service.tags.actions import issue
from service.testlog import effects
from service.testlog.actions import log_repair, void_test
from service.testlog.core import NewRepair, NewTest, SubmittedTest
from service.testlog.housekeeping import keep_house, verify
from service.testlog.logging_tests import log_test, log_tests
from service.testlog.queries import events, histories
from service.wear.queries import chances, records
from tests.support.program import START, running
from tests.testlog.support import GOOD, OPEN_2

# The clock goes forward, back, or never; a day begins at a quarter to an hour of UTC; midnight does not exist.
ZONES = (
    "America/New_York",
    "Africa/Cairo",
    "Asia/Kathmandu",
    "Australia/Lord_Howe",
    "Pacific/Kiritimati",
    "UTC",
)
READINGS = {
    What.PASS: (GOOD, "all"),
    What.FAIL: (OPEN_2, "all"),
    What.PARTIAL: ([["A1", "B1"]], ["A1", "B1"]),
}


@dataclass
class Known:
    """What we know of an item ourselves: its code, since when it is in service, its entries, and its seasons."""

    code: str
    since: date
    entries: dict[UUID, tuple[datetime, What]] = field(default_factory=dict)
    seasons: set[UUID] = field(default_factory=set)


class Cache(RuleBasedStateMachine):
    """Tests, repairs, voids, seasons and days, in any order, and our own journal beside them."""

    items = Bundle("items")
    tests = Bundle("tests")
    seasons = Bundle("seasons")

    def __init__(self) -> None:
        super().__init__()
        self.folder = TemporaryDirectory()
        self.run = running(f"sqlite:///{Path(self.folder.name) / 'coilbook.db'}")
        self.program = self.run.__enter__()
        self.store, self.now = self.program.store, START
        self.known: dict[UUID, Known] = {}
        self.dues: dict[UUID, Season] = {}
        with self.store.reading() as db:
            lead = first_lead(db)
        assert lead is not None
        self.lead = Who(lead.id, lead.display_name, lead.role)  # type: ignore[arg-type]

    def teardown(self) -> None:
        self.run.__exit__(None, None, None)
        self.folder.cleanup()

    @property
    def today(self) -> date:
        return local_date(self.now, self.zone)

    def tick(self) -> datetime:
        self.now += timedelta(seconds=1)
        return self.now

    @initialize(target=seasons, zone=st.sampled_from(ZONES))
    def found(self, zone: str) -> UUID:
        self.zone = ZoneInfo(zone)
        with self.store.writing() as db:
            db.get_one(Program, 1).zone = zone
        return self.make_season(-10, 90, 3)

    @rule(target=items, days=st.integers(0, 90), joins=st.booleans(), tested=st.booleans())
    def add_item(self, days: int, joins: bool, tested: bool) -> UUID:
        item_id, since = uuid4(), self.today - timedelta(days=days)
        with self.store.writing() as db:
            add_items(db, NewItem("cable", "xlr3", 3048), [item_id], None, self.tick(), since)
            (code,) = issue(db, [item_id], self.now)
            effects.refresh_due_states(db, [item_id], self.today, self.zone)
        self.known[item_id] = Known(code, since)
        if joins:
            self.answer_to(item_id, next(iter(self.dues)))
        if tested:
            self.test_item(item_id, What.PASS, 0)
        return item_id

    @rule(target=seasons, starts=st.integers(-60, 30), days=st.integers(1, 120), rounds=st.integers(1, 4))
    def add_season(self, starts: int, days: int, rounds: int) -> UUID:
        return self.make_season(starts, days, rounds)

    def make_season(self, starts: int, days: int, rounds: int) -> UUID:
        season_id = uuid4()
        season = self.season(starts, days, rounds)
        with self.store.writing() as db:
            add_season(db, season_id, "Season", season, [], self.tick())
        self.dues[season_id] = season
        return season_id

    @rule(season_id=seasons, starts=st.integers(-60, 30), days=st.integers(1, 120), rounds=st.integers(1, 4))
    def move_season(self, season_id: UUID, starts: int, days: int, rounds: int) -> None:
        self.dues[season_id] = self.season(starts, days, rounds)
        asked = [item_id for item_id, known in self.known.items() if season_id in known.seasons]
        with self.store.writing() as db:
            row = db.get_one(SeasonRow, season_id)
            change_season(db, row, "Season", self.dues[season_id], self.tick())
            effects.refresh_due_states(db, asked, self.today, self.zone)
            effects.refresh_due_flags(db, asked, self.today, self.now)

    def season(self, starts: int, days: int, rounds: int) -> Season:
        first = self.today + timedelta(days=starts)
        last = first + timedelta(days=days)
        return Season(first, last, split(first, last, min(rounds, days + 1)))

    @rule(item_id=items, season_id=seasons)
    def join_or_leave(self, item_id: UUID, season_id: UUID) -> None:
        self.answer_to(item_id, season_id)

    def answer_to(self, item_id: UUID, season_id: UUID) -> None:
        known = self.known[item_id]
        with self.store.writing() as db:
            if season_id in known.seasons:
                delist(db, [item_id], season_id)
            else:
                enlist(db, [item_id], [season_id])
            effects.refresh_due_states(db, [item_id], self.today, self.zone)
            effects.refresh_due_flags(db, [item_id], self.today, self.tick())
        known.seasons ^= {season_id}

    @rule(target=tests, item_id=items, what=st.sampled_from(list(READINGS)), ago=st.integers(0, 60 * 24))
    def log(self, item_id: UUID, what: What, ago: int) -> tuple[UUID, UUID]:
        return self.test_item(item_id, what, ago)

    def test_item(self, item_id: UUID, what: What, ago: int) -> tuple[UUID, UUID]:
        known, test_id = self.known[item_id], uuid4()
        joined, probed = READINGS[what]
        at = self.tick() - timedelta(hours=ago)
        new = NewTest(test_id, known.code, joined=joined, probed=probed, tested_at=at)
        with self.store.writing() as db:
            answer = log_test(db, new, self.lead, self.now, self.zone)
        assert answer["verdict"] == what
        known.entries[test_id] = (at, what)
        return item_id, test_id

    @rule(
        items_and_whats=st.dictionaries(items, st.sampled_from(list(READINGS)), min_size=2, max_size=4),
        ago=st.integers(0, 60 * 24),
    )
    def log_together(self, items_and_whats: dict[UUID, What], ago: int) -> None:
        at = self.tick() - timedelta(hours=ago)
        said = []
        for item_id, what in items_and_whats.items():
            joined, probed = READINGS[what]
            code = self.known[item_id].code
            new = NewTest(uuid4(), code, joined=joined, probed=probed, tested_at=at)
            said.append(SubmittedTest(new, self.lead, self.now))
        with self.store.writing() as db:
            answers = log_tests(db, said, self.zone)
        for one, answer, (item_id, what) in zip(said, answers, items_and_whats.items(), strict=True):
            new = one.test
            assert (answer["id"], answer["item"], answer["verdict"]) == (str(new.id), new.item, what)
            self.known[item_id].entries[new.id] = (at, what)

    @rule(item_id=items)
    def repair(self, item_id: UUID) -> None:
        known = self.known[item_id]
        with self.store.writing() as db:
            done = log_repair(db, NewRepair(uuid4(), known.code, "new plug"), self.lead, self.tick(), self.zone)
        known.entries[done.id] = (self.now, What.REPAIR)

    @rule(test=consumes(tests))
    def void(self, test: tuple[UUID, UUID]) -> None:
        item_id, test_id = test
        with self.store.writing() as db:
            void_test(db, test_id, "wrong cable", self.lead, self.tick(), self.zone)
        del self.known[item_id].entries[test_id]

    @rule(item_id=items, strapped=st.booleans())
    def move(self, item_id: UUID, strapped: bool) -> None:
        with self.store.writing() as db:
            place_for(db, "Frame", self.lead, self.tick(), PlaceKind.FRAME)
            place(db, item_id, "Frame" if strapped else "Case", "", self.lead, self.now)

    @rule(hours=st.integers(1, 70 * 24))
    def let_time_pass(self, hours: int) -> None:
        self.now += timedelta(hours=hours)
        keep_house(self.store, self.now, CHORES)
        assert keep_house(self.store, self.now, CHORES).count(": 0") == len(CHORES)

    @invariant()
    def the_cache_is_what_the_rule_says(self) -> None:
        with self.store.reading() as db:
            rows = {item_id: db.get_one(ItemDue, item_id) for item_id in self.known}
        for item_id, known in self.known.items():
            history = [HistoryEntry(local_date(at, self.zone), what) for at, what in sorted(known.entries.values())]
            seasons = [self.dues[season_id] for season_id in known.seasons]
            says = due_in_seasons(seasons, known.since, history, self.today)
            row = rows[item_id]
            assert (row.state, row.due_by, row.round) == (says.state, says.due_by, says.round)
        assert verify(self.store, self.now) == []

    @invariant()
    def what_is_remembered_is_what_the_log_says(self) -> None:
        """A session that only reads remembers from the last one; one that writes reads everything anew."""

        def told(db: Session) -> tuple[object, ...]:
            worn = records(db, self.zone)
            chance = chances(db, worn, self.today, self.today + timedelta(days=7))
            return worn, dict(chance), histories(db), failures(db), repairs(db)

        with self.store.reading() as db:
            remembered = told(db)
        with self.store.writing() as db:
            assert told(db) == remembered
            assert all(events(db, [item_id])[item_id] == known for item_id, known in histories(db).items())


TestCache = Cache.TestCase
TestCache.settings = settings(
    max_examples=15, stateful_step_count=25, deadline=None, suppress_health_check=list(HealthCheck)
)
