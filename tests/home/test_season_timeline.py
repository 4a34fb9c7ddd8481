"""The drawing of a season: everything on its day, inside the strip, and no words over others."""

from datetime import UTC, date, datetime, timedelta
from itertools import combinations
from uuid import uuid4

from hypothesis import given
from hypothesis import strategies as st

from service.home.seasons.timeline import LEFT, LETTER, RIGHT, SeasonStrip, draw
from service.season.core import RoundProgress, split
from service.season.forms import last_day
from service.season.models import Event, SeasonRow
from service.testlog.models import WorkSession
from tests.home.support import truck
from tests.support.program import Running, op

NOW = datetime(2026, 9, 1, tzinfo=UTC)


@st.composite
def seasons(draw_: st.DrawFn) -> tuple[SeasonRow, SeasonStrip, list[Event], list[RoundProgress]]:
    starts = draw_(st.dates(date(2020, 1, 1), date(2035, 1, 1)))
    days = draw_(st.integers(0, 400))
    ends = starts + timedelta(days=days)
    on = st.integers(0, days).map(lambda number: starts + timedelta(days=number))
    row = SeasonRow(id=uuid4(), name="Fall", starts=starts, ends=ends, created_at=NOW)
    rounds = []
    for number, each in enumerate(split(starts, ends, draw_(st.integers(1, min(6, days + 1)))), 1):
        asked = draw_(st.integers(0, 300))
        passed = draw_(st.integers(0, asked))
        rounds.append(RoundProgress(number, each.opens, last_day(each), passed, asked))
    names = st.text(st.characters(categories=["L", "Nd"]), min_size=1, max_size=60)
    events = [
        Event(id=uuid4(), name=draw_(names), kind="show", on=day) for day in sorted(draw_(st.lists(on, max_size=9)))
    ]
    sessions = [
        WorkSession(id=uuid4(), title="Thursday", on=day, closed_at=None)
        for day in sorted(draw_(st.lists(on, max_size=5)))
    ]
    today = draw_(on | st.dates(date(2019, 1, 1), date(2037, 1, 1)))
    return row, draw(row, rounds, events, sessions, today), events, rounds


@given(seasons())
def test_everything_has_its_place_inside_the_strip(
    drawn: tuple[SeasonRow, SeasonStrip, list[Event], list[RoundProgress]],
) -> None:
    row, line, events, rounds = drawn
    for bar, each in zip(line.bars, rounds, strict=True):
        assert LEFT <= bar.x <= bar.x + bar.width <= RIGHT
        assert 0 <= bar.done <= bar.width
        assert len(bar.words) * LETTER <= bar.width or not bar.words
        assert (bar.done == bar.width) == (each.passed == each.required != 0) or bar.width == 0
    for earlier, later in combinations(line.bars, 2):
        assert earlier.x + earlier.width < later.x
    marks = [*line.sessions, *line.events]
    assert all(LEFT <= mark.x <= RIGHT and mark.y < line.height for mark in marks)
    if line.today is not None:
        assert LEFT <= line.today <= RIGHT
    days = (row.ends - row.starts).days + 1
    for mark, event in zip(line.events, events, strict=True):
        into = (event.on - row.starts).days + 0.5
        assert abs((mark.x - LEFT) / (RIGHT - LEFT) - into / days) < 1e-9


@given(seasons())
def test_no_words_stand_over_others_or_over_a_diamond(
    drawn: tuple[SeasonRow, SeasonStrip, list[Event], list[RoundProgress]],
) -> None:
    _, line, _, _ = drawn
    for mark in line.events:
        assert mark.words_x >= LEFT
        assert mark.words_x + len(mark.words) * LETTER <= RIGHT + 1e-9
    for one, other in combinations(line.events, 2):
        if one.y == other.y:
            (_, one_right), (other_left, _) = _reach(one), _reach(other)
            assert one_right <= other_left, (one, other)
    for one, other in combinations(line.months, 2):
        assert one.x + len(one.words) * LETTER <= other.x


def _reach(mark: object) -> tuple[float, float]:
    x, begins, words = mark.x, mark.words_x, mark.words  # type: ignore[attr-defined]
    return min(x - 7, begins), max(x + 7, begins + len(words) * LETTER)


def test_the_page_draws_it_and_tells_it_in_words(program: Running) -> None:
    at = truck(program, ("vibes", "Frame 1", 10), ("marimba", "Frame 1", 10))
    at.passes("vibes")
    at.event("Lantern <Field>", date(2026, 10, 10))
    data = {"op": op(), "title": "Thursday tests", "on": "2026-09-24", "why": ["untested"]}
    assert program.lead.post("/sessions", data=data).status_code == 303
    page = program.viewer.get("/season").text
    for words in (
        "Round 1: 1 of 2</text>",
        "Lantern &lt;Field&gt;</text>",
        "Round 1, Tue Sep 1 to Thu Oct 15: 1 of 2 passed.",
        "Thursday tests, planned: Thu Sep 24.",
        'class="now"',
        'class="planned"',
    ):
        assert words in page
