"""The page of spares and Swap now: what is ready, what is asked for, and what is said where nothing is known."""

import re
from collections.abc import Iterator
from datetime import date, timedelta

import pytest
from sqlalchemy import select

from service.gear.core import ItemState
from service.retire.spares.actions import TripCase, case_for
from service.season.models import Event
from service.testlog.actions import change_state
from tests.home.support import Truck, truck
from tests.support.program import Running, op, running
from tests.testlog.support import ZONE, bench
from tests.wear.support import worn_out


def words(html: str) -> str:
    return " ".join(re.sub("<[^>]*>", " ", html).split())


def page(program: Running) -> str:
    answer = program.lead.get("/spares")
    assert answer.status_code == 200, answer.text
    return words(answer.text)


@pytest.fixture
def program(sqlite_url: str) -> Iterator[Running]:
    with running(sqlite_url) as found:
        yield found


@pytest.fixture
def worn(program: Running) -> Truck:
    """Seventeen cables of 10 ft, of which five failed; round 2 runs, the others passed in it, and an event is near."""
    at = worn_out(program, 5, 12)
    program.clock.ahead(days=10)
    at.passes(*[f"cable {number}" for number in range(5, 17)])
    program.clock.ahead(days=5)
    at.event("Lantern Field", program.clock.now.date() + timedelta(days=6))
    return at


def case(at: Truck) -> TripCase:
    now = at.program.clock.now
    with at.program.store.reading() as db:
        event = db.scalars(select(Event).order_by(Event.on.desc()).limit(1)).one()
        return case_for(db, event, now.astimezone(ZONE).date(), ZONE)


def test_a_new_program_is_told_what_its_chances_rest_on_and_not_that_nothing_is_in_use(program: Running) -> None:
    at = truck(program, *[(f"cable {number}", "Frame 1", 10) for number in range(25)])
    at.event("Lantern Field", date(2026, 10, 3))
    told = page(program)
    rests = (
        "your log does not tell yet of one that failed with use. So these chances rest on what is usual for such gear"
    )
    assert f"25 items are in use, and {rests} (an assumption), not on yours." in told
    assert "Nothing is in use" not in told


def test_without_anything_in_use_that_is_what_is_said(program: Running) -> None:
    at = truck(program, ("spare", "Spares Case", 10))
    at.event("Lantern Field", date(2026, 10, 3))
    assert "Nothing is in use, so nothing can fail on the trip." in page(program)


def test_an_unknown_price_is_asked_for_and_not_taken_as_a_cent(worn: Truck) -> None:
    told = page(worn.program)
    assert "No price is known for: 10 ft cable," in told
    assert "nothing is added that could replace it" in told
    found = case(worn)
    assert (found.least, found.add.cents, dict(found.adds)) == (None, 0, {found.rows[0].sort: 0})
    assert found.rows[0].carry is None
    [field] = re.findall(r'name="(cable\.xlr3\.\d+)"', worn.program.lead.get("/prices").text)
    assert worn.program.lead.post("/prices", data={"op": op(), field: "18.50"}).status_code == 303
    told = page(worn.program)
    assert "No price is known" not in told
    found = case(worn)
    assert found.least == 1850 * found.adds[found.rows[0].sort]
    assert found.after >= found.wanted > found.now
    assert f"With what is added below, for ${found.add.cents / 100:.2f} , the chance is" in told


def test_where_the_money_is_too_little_it_says_what_would_be_enough(worn: Truck) -> None:
    lead = worn.program.lead
    [field] = re.findall(r'name="(cable\.xlr3\.\d+)"', lead.get("/prices").text)
    lead.post("/prices", data={"op": op(), field: "18.50"})
    least = case(worn).least
    assert least is not None
    assert lead.post("/spares", data={"op": op(), "days": "3", "percent": "95", "budget": "19"}).status_code == 303
    told = page(worn.program)
    assert f"${least / 100:.2f} is the least that makes it 95 %; for $19.00, which you may spend," in told
    assert case(worn).add.cents <= 1900


def spare_of(at: Truck, label: str) -> str:
    with at.program.store.writing() as db:
        item_id = at.ids[at.tags[label]]
        change_state(db, item_id, ItemState.SPARE, "kept as a spare", at.lead, at.program.clock.now, ZONE)
    return at.tags[label]


def limit(program: Running, **changed: str) -> None:
    """Set thresholds of the pull list."""
    text = program.lead.get("/pull/limits").text
    fields = dict(re.findall(r'name="(\w+)" type="text" value="([^"]+)"', text))
    assert program.lead.post("/pull/limits", data={"op": op()} | fields | changed).status_code == 303


def test_what_is_tested_first_counts_only_with_what_comes_after_its_test(worn: Truck) -> None:
    before = case(worn)
    worn.suspect("cable 16", "crackled")
    after = case(worn)
    assert 0 < after.rows[0].expected < before.rows[0].expected
    assert after.in_use == before.in_use == 12


def test_the_spares_own_risk_counts_and_one_that_passed_too_long_ago_does_not(worn: Truck) -> None:
    limit(worn.program, risk_percent="90")
    for number in range(5):  # what failed would take the spares
        worn.retire(f"cable {number}")
    spare_of(worn, "cable 16")
    one = case(worn)
    assert one.rows[0].here == 1
    without = one.now
    spare_of(worn, "cable 15")
    assert case(worn).rows[0].here == 2
    assert without < case(worn).now < 1
    limit(worn.program, risk_percent="90", spare_days="10")
    assert case(worn).rows[0].here == 0  # they passed eleven days before the event


def test_a_spare_that_goes_in_wears_until_the_trip_as_what_is_in_use(worn: Truck) -> None:
    """Five failed, and a cable out of use goes in for one of them: as if it had stayed where it was."""
    limit(worn.program, risk_percent="90")
    before = case(worn)
    spare_of(worn, "cable 16")
    after = case(worn)
    assert (after.in_use, after.rows[0].here) == (before.in_use, 0)
    assert after.rows[0].expected == pytest.approx(before.rows[0].expected, rel=1e-9)


def test_swap_now_goes_by_the_days_of_the_pull_list(program: Running) -> None:
    at = bench(program, "xlr3", "xlr3")
    bad, spare = at.codes
    with program.store.writing() as db:
        change_state(db, at.ids[spare], ItemState.SPARE, "kept as a spare", at.lead, program.clock.now, ZONE)
    at.test(spare)

    def is_ready() -> bool:
        shown = program.crew.get("/swap", params={"bad": bad}).text
        assert f'value="{spare}"' in shown
        return "Not proven" not in shown

    assert is_ready()
    program.clock.ahead(days=10)
    assert is_ready()  # round 1 runs until October 15
    limit(program, spare_days="7")
    assert not is_ready()
    limit(program, spare_days="60")
    assert is_ready()
    program.clock.ahead(days=20)  # October 21: round 2 runs, and it has not passed in it
    program.lead.get("/plan")
    assert not is_ready()


def ticked(at: Truck, listed: object, label: str, action: str) -> None:
    body = {"op": op(), "item": at.tags[label], "action": action}
    assert at.program.crew.post(f"/pull/{listed}/ticks", data=body).status_code == 303


def test_what_was_ticked_and_stays_in_service_is_still_in_use(program: Running) -> None:
    labels = [f"cable {number}" for number in range(4)]
    at = truck(program, *[(label, "Frame 1", 10) for label in labels])
    listed = at.event("Lantern Field", date(2026, 10, 3))
    for label in labels:
        ticked(at, listed, label, "test_first")
    assert case(at).in_use == 4
    assert "Nothing is in use" not in page(program)
    ticked(at, at.event("Harvest Show", date(2026, 10, 4)), "cable 0", "retire")
    found = case(at)
    assert (found.in_use, list(found.gaps.values())) == (3, [1])  # it is out, and a gap is where it was


def test_chances_of_naught_are_told_as_such(program: Running) -> None:
    """All was tested today, for an event of today: nothing can come after."""
    at = truck(program, ("one", "Frame 1", 10), ("two", "Frame 1", 10))
    at.passes("one", "two")
    at.event("Lantern Field", program.clock.now.date())
    program.lead.post("/spares", data={"op": op(), "days": "1", "percent": "95", "budget": "200"})
    found = case(at)
    assert (found.in_use, found.now, sum(row.expected for row in found.rows)) == (2, 1, 0)
    told = page(program)
    assert "cannot tell yet" not in told
    assert "It is enough." in told


def test_what_failed_and_stays_in_by_a_leads_word_is_sure_to_fail(worn: Truck) -> None:
    before = case(worn)
    listed = re.findall(r'href="/pull/([0-9a-f-]{36})"', worn.program.lead.get("/spares").text)[0]
    said = {"op": op(), "action": "watch", "reason": "it is only for show"}
    at = f"/pull/{listed}/items/{worn.tags['cable 0']}/overrule"
    assert worn.program.lead.post(at, data=said).status_code == 303
    after = case(worn)
    assert after.in_use == before.in_use + 1
    assert after.rows[0].expected == pytest.approx(before.rows[0].expected + 1)
    assert after.now == 0  # no spare is in the case


def test_nothing_to_buy_is_not_told_as_enough_where_it_is_not(worn: Truck) -> None:
    for number in range(8):  # what failed is out, and of the others so few are left that half of all trips go well
        worn.retire(f"cable {number}")
    buying = words(worn.program.viewer.get("/buying").text)
    assert not case(worn).enough
    assert "the case is enough" not in buying
    assert "Nothing is added The case is not enough for the trip, but no spare with a known price fits" in buying
    worn.passes(*[f"cable {number}" for number in range(5, 17)])
    worn.program.lead.post("/spares", data={"op": op(), "days": "1", "percent": "50", "budget": "0"})
    assert case(worn).enough
    assert "the case is enough for the trip" in words(worn.program.viewer.get("/buying").text)
