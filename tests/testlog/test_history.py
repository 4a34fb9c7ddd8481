"""Whatever happens, in whatever order it arrives, state, due cache and flags are what history says."""

from datetime import datetime, timedelta
from random import Random
from uuid import uuid4

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.gear.core import FlagKind, ItemState
from service.kit.dates import local_date
from service.season.core import DueState, What, due_in_seasons
from service.season.models import ItemDue
from service.testlog.core import FaultStatus, LogEntry, days_by_lane, fault_of, in_time_order
from service.testlog.housekeeping import verify
from tests.support.examples import examples
from tests.support.program import Running, running
from tests.testlog.support import FALL, FLEXED, GOOD, OPEN_2, ZONE, Bench, bench

# One thing that happened: when (hours after the start), to which of two items (2: both), what, and whether a lead
# voids it once all is in.
Happened = tuple[int, int, str, bool]
HAPPENED = st.tuples(
    st.integers(0, 1500),
    st.sampled_from([0, 1, 2]),
    st.sampled_from(["pass", "flexed", "fail", "partial", "repair"]),
    st.booleans(),
)


@given(st.lists(HAPPENED, max_size=9, unique_by=lambda each: each[0]), st.randoms(use_true_random=False))
@settings(examples(25), suppress_health_check=list(HealthCheck))
def test_state_due_and_flags_follow_from_history_alone(
    tmp_path_factory: pytest.TempPathFactory, happened: list[Happened], random: Random
) -> None:
    folder = tmp_path_factory.mktemp("history")
    with running(f"sqlite:///{folder / 'coilbook.db'}") as program:
        check(program, happened, random)


def check(program: Running, happened: list[Happened], random: Random) -> None:
    at = bench(program, "xlr3", "xlr3")
    start = program.clock.now
    repairs = sorted(each for each in happened if each[2] == "repair")
    tests = [each for each in happened if each[2] != "repair"]
    random.shuffle(tests)
    arrived: list[tuple[Happened, str]] = []
    for each in repairs:  # a repair is dated when it is written down
        program.clock.now = start + timedelta(hours=each[0])
        for code in named(at, each):
            at.repair(code)
        arrived.append((each, ""))
    program.clock.now = start + timedelta(hours=1501)
    for each in tests:
        arrived.append((each, log(at, each, start)))
    for each, test_id in arrived:
        if each[3] and test_id:
            at.void(test_id)
    stood = [each for each, test_id in arrived if not (each[3] and test_id)]
    expect(at, stood, start)


def named(at: Bench, each: Happened) -> list[str]:
    return at.codes if each[1] == 2 else [at.codes[each[1]]]


def log(at: Bench, each: Happened, start: datetime) -> str:
    hour, _, what, _ = each
    code, *through = named(at, each)
    probed = ["A1", "B1"] if what == "partial" else "all"
    joined = {"fail": OPEN_2, "partial": [["A1", "B1"]]}.get(what, GOOD)
    evidence = FLEXED if what == "flexed" else ()
    tested_at = start + timedelta(hours=hour)
    return str(
        at.test(code, joined, probed=probed, evidence=evidence, tested_at=tested_at, through=tuple(through))["id"]
    )


def expect(at: Bench, stood: list[Happened], start: datetime) -> None:
    """Reckon from what stood, by hand, and compare."""
    histories = [history_of(index, stood, start) for index in (0, 1)]
    for code, history in zip(at.codes, histories, strict=True):
        state = {
            FaultStatus.OPEN: ItemState.QUARANTINED,
            FaultStatus.REPAIRED: ItemState.IN_REPAIR,
            FaultStatus.NONE: ItemState.IN_SERVICE,
        }[fault_of(history)]
        assert at.state(code) == state
        today = local_date(at.program.clock.now, ZONE)
        if any(is_suspect(at.codes.index(code), each, stood) for each in stood if each[1:3] == (2, "fail")):
            history.append(
                LogEntry(at.program.clock.now, What.FAIL, uuid4())
            )  # blocked, until it is known which it was
        (days,) = days_by_lane(history, (), ZONE)
        reckoned = due_in_seasons([FALL], FALL.starts, days, today)
        with at.program.store.reading() as db:
            row = db.get(ItemDue, at.ids[code])
        if row is not None:
            assert (row.state, row.due_by, row.round) == (reckoned.state, reckoned.due_by, reckoned.round)
            assert bool(at.flags(code, FlagKind.BLOCKED)) == (reckoned.state is DueState.BLOCKED)
        else:
            assert not any(index in (at.codes.index(code), 2) for _, index, _, _ in stood)
    failed = [each for each in stood if each[1] == 2 and each[2] == "fail"]
    for index, code in enumerate(at.codes):
        left = [each for each in failed if is_suspect(index, each, stood)]
        assert len(at.flags(code)) == len(left)
    assert not [line for line in verify(at.program.store, at.program.clock.now) if "cached nothing" not in line]


def is_suspect(index: int, failed: Happened, stood: list[Happened]) -> bool:
    """By the rule in words: nobody found it, and this one has not passed since."""
    hour = failed[0]
    later = [each for each in stood if each[0] > hour]
    found = any(what == "fail" and which < 2 for _, which, what, _ in later)
    open_then = False
    for one in (0, 1):
        open_now = False
        for at, which, what, _ in sorted(stood):
            if at < hour and which in (one, 2):
                open_now = (open_now or (what == "fail" and which == one)) and what != "repair"
        open_then = open_then or open_now
    passed = any(what in ("pass", "flexed") and which in (index, 2) for _, which, what, _ in later)
    return not (found or open_then or passed)


def history_of(index: int, stood: list[Happened], start: datetime) -> list[LogEntry]:
    events = []
    for hour, which, what, _ in stood:
        if which in (index, 2):
            alone = which != 2
            word = "pass" if what == "flexed" else "partial" if what == "fail" and not alone else what
            events.append(LogEntry(start + timedelta(hours=hour), What(word), uuid4(), alone, what == "flexed"))
    return in_time_order(events)


def test_the_same_on_each_engine(program: Running) -> None:
    happened = [
        (5, 2, "fail", False),
        (9, 0, "fail", False),
        (12, 0, "repair", False),
        (20, 0, "pass", False),
        (30, 1, "fail", True),
        (40, 2, "fail", False),
        (50, 2, "pass", True),
        (60, 1, "flexed", False),
    ]
    check(program, happened, Random(7))
