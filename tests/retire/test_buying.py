"""The season's list to buy: counts, sums and last season as the log has them, and what is worth a repair."""

import csv
import io
import re
from collections.abc import Iterator
from datetime import date
from typing import Any
from uuid import uuid4

import pytest
from sqlalchemy import update

from service.crew.core import Actor
from service.gear.models import Item
from service.retire.buying.core import Buy, RepairSum, repair_sum, to_buy, total, within
from service.retire.decisions.core import Price, Purchase, Sort
from service.retire.repair_or_replace.core import ComparedCosts, RepairPrice
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
    assert buys == [Buy(TEN, 2, 1, 2000, 2, 1850, 1), Buy(HUB, 0, 1, None, 1, 8900)]
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


def test_the_page_weighs_repairs_by_wear_and_not_by_age(at: Truck) -> None:
    page = words(at.program.viewer.get("/buying").text)
    repairs = page.partition("Repair or replace")[2].partition("Last season")[0]
    for label in ("old", "new"):
        said = rf"{label} [^.]* Repair it\. A repair is \$6\.00 \(our default\), a new one \$20\.00;"
        assert re.search(said, repairs)
    assert "your limit is 8: look over its jacket and connectors before it is repaired." in repairs
    assert "2 repairs come to about $12.00 now; new ones instead would come to $40.00 ." in repairs
    assert "our default, $6.00: a lead can enter yours" in repairs
    assert "Spares are added for at most $200.00, our default" in page


def test_what_is_repaired_is_not_bought(at: Truck) -> None:
    """Two 10 ft cables fill their own places again; once a lead retires one of them, one is bought in its place."""
    [event] = set(re.findall(r"/pull/([0-9a-f-]{36})", at.program.viewer.get("/buying").text))
    assert [row for row in rows(at) if row["missing on the pull list"] != "0"] == []
    assert at.program.viewer.get("/api/v1/pull").json()["buy"] == []
    said = {"op": op(), "action": "retire", "reason": "Its jacket is cut"}
    assert at.program.lead.post(f"/pull/{event}/items/{at.tags['old']}/overrule", data=said).status_code == 303
    [row] = rows(at)
    assert (row["kind"], row["length"], row["missing on the pull list"], row["each, $"]) == (
        "cable",
        "10 ft",
        "1",
        "20.00",
    )
    assert float(row["total, $"]) == 20 * int(row["to buy"])
    repairs, _, gone = words(at.program.viewer.get("/buying").text).partition("Out for good: 1")
    assert "old" not in repairs.partition("Repair or replace")[2]
    assert re.search(r"old [^.]*: Its jacket is cut A repair is \$6\.00 .* A new one is on the list above\.", gone)


def test_what_was_swapped_out_waits_for_its_test_and_for_no_repair(at: Truck) -> None:
    repairs = words(at.program.viewer.get("/buying").text).partition("Repair or replace")[2]
    assert "old" in repairs
    assert "swapped" not in repairs


def test_a_price_that_nobody_entered_is_asked_for(at: Truck) -> None:
    with at.program.store.writing() as db:
        db.execute(update(Item).values(price_cents=None))
    page = words(at.program.lead.get("/buying").text)
    assert "nobody entered what a new one costs, so they are not compared. Chance that it fails until" in page
    assert "Enter its price" in page
    assert "2 repairs come to about $12.00 now." in page
    assert "1 has no price in the book." in page.partition("Last season")[2]
    assert "$0" not in page
    [row] = [row for row in rows(at) if row["bought last season"] != "0"]
    assert (row["each, $"], row["last season, $"], row["last season without a price"]) == ("", "", "1")


def rows(at: Truck) -> list[dict[str, Any]]:
    return list(csv.DictReader(io.StringIO(at.program.viewer.get("/buying.csv").text.lstrip("\ufeff"))))


def comparison(repair: int, new: int | None) -> ComparedCosts:
    return ComparedCosts(RepairPrice(repair), new, None, None, 0.1)


def test_sums_over_repairs_leave_out_no_repair_and_no_unknown_price() -> None:
    told = repair_sum([comparison(600, 1850), comparison(0, None), comparison(450, 0)])
    assert told == RepairSum(3, 1050, 1850, 1)
