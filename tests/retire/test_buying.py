"""The season's list to buy: counts, sums and last season as the log has them, and what is worth a repair."""

import csv
import io
import re
from collections.abc import Iterator
from datetime import date
from typing import Any
from uuid import uuid4

import pytest

from service.crew.core import Actor
from service.retire.buying.core import Buy, to_buy, total, within
from service.retire.decisions.core import Price, Purchase, Sort
from service.season.actions import add_season
from service.season.core import Season, split
from service.swaps.actions import swap
from service.swaps.core import NewSwap
from tests.home.support import Truck, truck
from tests.support.program import op, running
from tests.testlog.support import OPEN_2, ZONE

FIVE, TEN, HUB = Sort("cable", "xlr3", 1524), Sort("cable", "xlr3", 3048), Sort("hub", "d25-to-xlr8", 0)


def test_counts_and_sums_by_sort_with_last_season_beside() -> None:
    last = [Purchase(TEN, date(2026, 3, 1), 1850), Purchase(TEN, None, None), Purchase(HUB, None, 8900)]
    buys = to_buy({TEN: 2}, {TEN: 1, FIVE: 0, HUB: 1}, {TEN: Price(2000)}, last)
    assert buys == [Buy(TEN, 2, 1, 2000, 2, 1850), Buy(HUB, 0, 1, None, 1, 8900)]
    assert [(each.count, each.cents) for each in buys] == [(3, 6000), (1, None)]
    assert total(buys) == 6000


def test_last_season_ends_on_the_day_that_this_one_begins() -> None:
    days = [date(2026, 2, 28), date(2026, 3, 1), date(2026, 8, 31), date(2026, 9, 1), None]
    bought = [Purchase(TEN, day, 100) for day in days]
    assert [each.on for each in within(bought, date(2026, 3, 1), date(2026, 9, 1))] == days[1:3]


@pytest.fixture
def at(sqlite_url: str) -> Iterator[Truck]:
    """Two that failed, an old and a new one; one that was swapped out untested; an event in twelve days."""
    with running(sqlite_url) as program:
        found = truck(
            program,
            ("old", "Frame 1", 10),
            ("new", "Frame 1", 10),
            ("swapped", "Frame 2", 10),
            ("in", "Case", 10),
        )
        found.passes("old", "new", "swapped", "in")
        for label, bought in (("old", "2017-09-01"), ("new", "2026-04-01")):
            told = {"op": op(), "label": label, "price": "20.00", "bought_on": bought}
            assert program.lead.post(f"/gear/{found.tags[label]}/edit", data=told).status_code == 303
            found.test(found.tags[label], OPEN_2)
        with program.store.writing() as db:
            new = NewSwap(uuid4(), found.tags["swapped"], found.tags["in"])
            swap(db, new, Actor(found.lead, program.clock.now, ZONE))
            spring = Season(date(2026, 3, 1), date(2026, 5, 31), split(date(2026, 3, 1), date(2026, 5, 31), 2))
            add_season(db, uuid4(), "Spring", spring, [], program.clock.now)
        found.event("Lantern Field", date(2026, 10, 3))
        yield found


def words(html: str) -> str:
    return " ".join(re.sub("<[^>]*>", " ", html).split())


def test_the_page_sums_up_and_weighs_repairs(at: Truck) -> None:
    page = words(at.program.viewer.get("/buying").text)
    pieces, dollars = re.search(r"(\d+) pieces, \$([\d.]+) in all", page).groups()  # type: ignore[union-attr]
    assert float(dollars) == 20 * int(pieces) >= 40
    assert "Spring, from" in page
    repairs = page.partition("Repair or replace")[2].partition("Last season")[0]
    assert re.search(r"old .*\$0\.00 is left of that\. Replace it", repairs)
    assert re.search(r"new .*\$18\.8\d is left of that\. Repair it", repairs)
    assert "Repairing what is worth it comes to $6.00 ; new ones instead would come to $20.00 ." in repairs


def test_what_was_swapped_out_waits_for_its_test_and_for_no_repair(at: Truck) -> None:
    repairs = words(at.program.viewer.get("/buying").text).partition("Repair or replace")[2]
    assert "old" in repairs
    assert "swapped" not in repairs


def test_the_csv_has_the_same_figures(at: Truck) -> None:
    rows: list[dict[str, Any]] = list(
        csv.DictReader(io.StringIO(at.program.viewer.get("/buying.csv").text.lstrip("\ufeff")))
    )
    [row] = rows
    assert (row["kind"], row["length"], row["missing on the pull list"], row["each, $"]) == (
        "cable",
        "10 ft",
        "2",
        "20.00",
    )
    assert int(row["to buy"]) == 2 + int(row["spares to add"])
    assert float(row["total, $"]) == 20 * int(row["to buy"])
    assert (row["bought last season"], row["last season, $"]) == ("1", "20.00")
