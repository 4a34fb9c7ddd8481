"""Of people little is kept, and that not for long."""

from datetime import UTC, date, datetime, timedelta
from uuid import UUID

import pytest
from fastapi.testclient import TestClient
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import MetaData, select

from service.chores import CHORES
from service.crew import actions
from service.crew.core import Role, looks_full
from service.crew.models import AuditEntry, CrewPass, Person
from service.crew.privacy.core import AFTER_SEASON, LONGEST, anonymize_on, is_anonymous, next_anonymous_name
from service.crew.queries import people_named
from service.tables import metadata
from service.testlog.housekeeping import keep_house
from tests.support.program import BASE, Running, op
from tests.testlog.support import FALL, bench

SPANS = st.lists(st.tuples(st.dates(date(2020, 1, 1), date(2030, 1, 1)), st.integers(0, 300)), max_size=4)


@given(st.dates(date(2020, 1, 1), date(2030, 1, 1)), SPANS)
def test_a_name_is_kept_for_its_season_and_ninety_days(helped: date, spans: list[tuple[date, int]]) -> None:
    seasons = [(first, first + timedelta(days=days)) for first, days in spans]
    until = anonymize_on(helped, seasons)
    assert helped + AFTER_SEASON < until <= helped + LONGEST + timedelta(days=1)
    for first, last in seasons:
        if first <= helped <= last < helped + LONGEST - AFTER_SEASON:
            assert until > last + AFTER_SEASON


def test_the_day_by_hand() -> None:
    fall = (date(2026, 8, 1), date(2026, 11, 30))
    indoor = (date(2027, 1, 4), date(2027, 4, 10))
    # November 30 and 90 days: 31 of December, 31 of January and 28 of February
    assert anonymize_on(date(2026, 10, 3), [fall, indoor]) == date(2027, 3, 1)
    assert anonymize_on(date(2027, 1, 4), [fall, indoor]) == date(2027, 7, 10)
    assert anonymize_on(date(2027, 6, 1), [fall, indoor]) == date(2027, 8, 31)


def test_numbers_are_never_given_twice() -> None:
    assert next_anonymous_name([]) == "Tester 1"
    assert next_anonymous_name(["Tester 2", "Tester Jo", "Tester 10"]) == "Tester 11"
    assert is_anonymous("Tester 11")
    assert not is_anonymous("Tester Jo")


@pytest.mark.parametrize(
    ("name", "full"),
    [
        ("Jo", False),
        ("Jo B", False),
        ("DJ 5", False),
        ("Tester 7", False),
        ("Jo-Ann", False),
        ("Robin Fernhollow", True),
        ("Zoë van Dyk", True),
        ("Kim O’Neil", True),
    ],
)
def test_a_full_name_is_recognized(name: str, full: bool) -> None:
    assert looks_full(name) is full


def joined(program: Running, name: str, **more: str) -> TestClient:
    """A student's phone, in by a crew pass."""
    with program.store.writing() as db:
        made = actions.make_pass(db, Role.CREW, "Thursdays", None, program.clock.now)
    phone = TestClient(program.stranger.app, BASE, headers={"Origin": BASE}, follow_redirects=False)
    answer = phone.post("/join", data={"pass": made.secret, "name": name, **more})
    assert answer.status_code == 303, answer.text
    return phone


def test_who_types_a_full_name_is_asked_once(program: Running) -> None:
    with program.store.writing() as db:
        made = actions.make_pass(db, Role.CREW, "Thursdays", None, program.clock.now)
    asked = {"pass": made.secret, "name": "Robin Fernhollow"}
    answer = program.stranger.post("/join", data=asked)
    assert answer.status_code == 422
    assert "A first name is enough" in answer.text.replace("a first", "A first")
    assert 'name="sure" value="Robin Fernhollow"' in answer.text
    other = program.stranger.post("/join", data=asked | {"sure": "Jo"})
    assert other.status_code == 422
    assert program.stranger.post("/join", data=asked | {"sure": "Robin Fernhollow"}).status_code == 303


def names(program: Running) -> set[str]:
    """Everybody's display name."""
    with program.store.reading() as db:
        return set(db.scalars(select(Person.display_name)))


def contents(program: Running) -> str:
    """Everything that the database holds, as text."""
    found = MetaData()
    with program.store.reading() as db:
        found.reflect(db.connection())
        return "\n".join(str(row) for table in found.sorted_tables for row in db.execute(select(table)))


def logged(program: Running, phone: TestClient, code: str) -> dict[str, str]:
    """A pass that a student logs."""
    told = {"id": str(UUID(int=hash(code) % 2**64)), "item": code, "method": "two_ended", "probed": "all"}
    joined_contacts = [["A1", "B1"], ["A2", "B2"], ["A3", "B3"]]
    answer = phone.post("/api/v1/tests", json=told | {"joined": joined_contacts})
    assert answer.status_code == 201, answer.text
    found: dict[str, str] = answer.json()
    return found


def test_students_names_are_let_go_ninety_days_after_their_season(program: Running) -> None:
    truck = bench(program, "xlr3")
    last_day = datetime(2027, 2, 28, 17, tzinfo=UTC)  # 90 days after the season's end
    assert FALL.ends == date(2026, 11, 30)
    with program.store.writing() as db:
        viewer = actions.add_person(db, "A parent", Role.VIEWER, program.clock.now)
    phone = joined(program, "Wren")
    test = logged(program, phone, truck.codes[0])
    joined(program, "Robin B")
    program.clock.now = last_day - timedelta(days=20)
    with program.store.writing() as db:
        again = people_named(db, "Robin B")[0]
        assert again is not None
        actions.start_sign_in(db, again, program.clock.now, None)
    keep_house(program.store, last_day, CHORES)
    assert {"Wren", "Robin B", viewer.display_name} <= names(program)
    keep_house(program.store, last_day + timedelta(days=1), CHORES)
    kept = names(program)
    assert {"Tester 1", "Robin B", "A parent", "Lead", "Crew", "Viewer"} == kept
    assert "Wren" not in contents(program)
    assert phone.get("/me").status_code == 401
    found = program.lead.get("/api/v1/tests").json()["items"]
    assert [(row["id"], row["verdict"]) for row in found] == [(test["id"], "pass")]
    before = contents(program)
    keep_house(program.store, last_day + timedelta(days=1), CHORES)
    assert contents(program) == before


def test_who_tested_later_than_they_came_in_is_kept_by_the_test(program: Running) -> None:
    truck = bench(program, "xlr3")
    phone = joined(program, "Wren")
    program.clock.now = datetime(2026, 12, 20, 17, tzinfo=UTC)  # after the season
    logged(program, phone, truck.codes[0])
    keep_house(program.store, datetime(2027, 3, 10, 17, tzinfo=UTC), CHORES)
    assert "Wren" in names(program)
    keep_house(program.store, datetime(2027, 3, 22, 17, tzinfo=UTC), CHORES)
    assert "Wren" not in names(program)


def test_a_lead_erases_somebody_at_once(program: Running) -> None:
    truck = bench(program, "xlr3")
    phone = joined(program, "Quillon")
    test = logged(program, phone, truck.codes[0])
    program.lead.post("/crew/passes", data={"role": "viewer", "label": "Quillon"})
    with program.store.reading() as db:
        who = people_named(db, "Quillon")[0]
    assert who is not None
    page = program.lead.get(f"/crew/people/{who.id}/erase").text
    assert "Erase Quillon?" in page
    op = page.split('name="op" value="')[1].split('"')[0]
    for _ in range(2):
        assert program.lead.post(f"/crew/people/{who.id}/erase", data={"op": op}).status_code == 303
    assert "Quillon" not in contents(program)
    assert "Tester 1" in program.lead.get(f"/tests/{test['id']}").text
    assert "Person erased" in program.lead.get("/crew/trail").text
    assert phone.get("/me").status_code == 401
    assert len(program.lead.get("/api/v1/tests").json()["items"]) == 1


def test_a_name_that_two_share_stays_on_passes_until_both_have_let_it_go(program: Running) -> None:
    with program.store.writing() as db:
        one, other = (actions.add_person(db, "Robin", Role.CREW, program.clock.now) for _ in range(2))
    program.lead.post("/crew/passes", data={"role": "viewer", "label": "Robin"})
    for person, left in ((one, "Robin"), (other, "Tester 2")):
        program.lead.post(f"/crew/people/{person.id}/erase", data={"op": op()})
        with program.store.reading() as db:
            assert [row.label for row in db.scalars(select(CrewPass))] == [left]
            assert left in {row.subject for row in db.scalars(select(AuditEntry))}
    assert "Robin" not in contents(program)


def test_links_of_an_erased_lead_end_and_the_last_lead_stays(program: Running) -> None:
    with program.store.writing() as db:
        kim = actions.add_person(db, "Kim", Role.LEAD, program.clock.now)
        kim.email = "kim@example.org"
        link = actions.make_sign_in_link(db, kim, program.clock.now)
        lead = people_named(db, "Lead")[0]
    assert lead is not None
    op = {"op": "00000000-0000-4000-8000-000000000001"}
    assert program.lead.post(f"/crew/people/{kim.id}/erase", data=op).status_code == 303
    assert program.stranger.post("/join", data={"pass": link.secret, "name": ""}).status_code == 410
    assert "kim@example.org" not in contents(program)
    with program.store.reading() as db:
        assert {row.label for row in db.scalars(select(CrewPass))} == {"Tester 1"}
    op = {"op": "00000000-0000-4000-8000-000000000002"}
    refused = program.lead.post(f"/crew/people/{lead.id}/erase", data=op)
    assert refused.status_code == 409
    assert "only lead" in refused.text


def test_whoever_has_gone_can_still_be_erased(program: Running) -> None:
    joined(program, "Wren")
    with program.store.reading() as db:
        who = people_named(db, "Wren")[0]
    assert who is not None
    program.lead.post(f"/crew/people/{who.id}/end")
    assert f'href="/crew/people/{who.id}/erase"' in program.lead.get("/crew").text
    program.lead.post(f"/crew/people/{who.id}/erase", data={"op": "00000000-0000-4000-8000-000000000003"})
    assert "Wren" not in contents(program)


def test_everybody_can_read_what_is_kept(program: Running) -> None:
    for client in (program.stranger, program.crew, program.lead):
        page = client.get("/kept")
        assert page.status_code == 200
        assert "90 days after the season" in page.text
    assert 'href="/kept"' in program.stranger.get("/join").text
    assert 'href="/kept"' in program.crew.get("/me").text
    assert 'href="/kept"' in program.crew.get("/more").text


COLUMNS = {
    "person": {"id", "display_name", "role", "passphrase_hash", "email", "created_at", "ended_at"},
    "sign_in": {
        "id",
        "person_id",
        "token_hash",
        "token_name",
        "pass_id",
        "device_hash",
        "created_at",
        "expires_at",
        "ended_at",
    },
    "crew_pass": {
        "id",
        "secret_hash",
        "label",
        "role",
        "person_id",
        "made_by",
        "uses_left",
        "created_at",
        "expires_at",
        "ended_at",
    },
    "sign_in_try": {"id", "at", "name_hash", "source_hash", "known"},
    "session_helper": {"session_id", "person_id", "joined_at"},
}
NEVER = (
    "mail",
    "phone",
    "birth",
    "address",
    "latitude",
    "longitude",
    "photo",
    "image",
    "agent",
    "ip",
    "surname",
)


def test_the_tables_of_people_hold_nothing_else() -> None:
    assert {name: set(metadata.tables[name].columns.keys()) for name in COLUMNS} == COLUMNS


def test_no_other_table_could_hold_more_of_a_person() -> None:
    named = {
        f"{table.name}.{column.name}"
        for table in metadata.sorted_tables
        for column in table.columns
        if any(word in NEVER or word == "email" for word in column.name.split("_"))
    }
    assert named == {"person.email"}  # a lead's or a viewer's; a CHECK keeps students' out
