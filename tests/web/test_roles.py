"""Every route and method × everybody: who reaches what, from where, and what every answer carries."""

import re
from collections.abc import Callable, Iterator
from http.cookies import SimpleCookie
from itertools import product
from typing import Any

import pytest
from fastapi.testclient import TestClient
from httpx2 import Response
from sqlalchemy import Connection, MetaData, create_engine, select

from service.crew import actions
from service.crew.core import Role
from service.crew.models import Person
from service.store.paging import cursor
from service.testlog.models import Test
from service.web.headers import headers_of_every_answer, headers_of_files
from tests.support.program import BASE, START, migrated
from tests.support.statements import Asked, asked_of
from tests.web.explained import scans_of_postgres, scans_of_sqlite
from tests.web.roles import NEEDED
from tests.web.world import NOTHING, World, rows, sent, world

ACTORS = ("stranger", "revoked", "viewer", "crew", "lead")
OWN_RULE = {
    ("crew", "POST /me/address"): 403,  # of a student nothing but the name is kept
    ("stranger", "POST /sign-in"): 401,  # the name and passphrase are what is wrong
    ("revoked", "POST /sign-in"): 401,
    ("viewer", "POST /sign-in"): 401,
    ("crew", "POST /sign-in"): 401,
    ("lead", "POST /sign-in"): 401,
}
"""Refused by what a route does, and not by its role."""

FURTHER = (
    "/tests?fault=open&conductor=2",
    f"/api/v1/tests?item={{code}}&since=2026-01-01&after={cursor(START, NOTHING)}",
    f"/api/v1/tests?after={cursor(START, NOTHING)}",
    "/gear?q=frame&state=in_service&due=due",
    "/gear?flag=due&kind=cable",
    f"/api/v1/items?after={cursor('cable', 1, NOTHING)}",
    f"/api/v1/due?state=due&after={cursor(START.date(), NOTHING)}",
    f"/due?after={cursor(1, '', NOTHING)}",
    f"/crew/trail?person={NOTHING}&action=joined&day=2026-09-21",
    f"/crew/trail?after={cursor(START, 7)}",
)
"""What narrows lists down, and what comes after a first page."""

WHOLE_LOG = {
    "GET /exchange/program.json": "exports everything there is",
    "GET /exchange/tests.csv": "exports every test and repair",
}
"""Rows that go through the whole log, and why."""
OF_WEAR = (
    "SELECT state_change.item_id, state_change.at, state_change.to_state FROM state_change",
    "SELECT test_item.item_id, count(*) AS count_1 FROM test_item",
    "SELECT repair.item_id, count(*) AS count_1 FROM repair",
)
"""How statements begin by which the wear of the whole program is told, whose result is used until something changes:
how far each item's log has grown, since more is read of those only that have.
"""
TURNED_ROUND = (
    "SELECT test.id, test.tested_at, test_item.item_id FROM test JOIN test_item",
    "SELECT test_item.item_id, test.id, test.wiring, test.method",
    "SELECT person.id, person.display_name, person.ended_at FROM person WHERE EXISTS",
)
"""How statements begin that PostgreSQL would join from the other side while its tables are empty. They ask for given
items or for every person, by indexes that are there, as SQLite does.
"""

Answers = dict[tuple[str, str], Response]
Statements = dict[str, tuple[str, Asked]]
Looked = tuple[Any, Any, Answers, Statements]


@pytest.fixture(scope="module")
def at(tmp_path_factory: pytest.TempPathFactory) -> Iterator[World]:
    """The service over the demo, without limits: these tests knock a thousand times a minute."""
    with world(tmp_path_factory.mktemp("roles"), limits=False) as here:
        yield here


@pytest.fixture(scope="module")
def looked(at: World) -> Looked:
    """What the database holds before and after everybody has looked at everything, what they saw, and each statement
    with the row that came with it first.
    """
    at.clients["lead"].get("/")  # the first of the day keeps house
    before, found, statements = contents(at), Answers(), Statements()
    for actor, row in product(ACTORS, (row for row in NEEDED if row.startswith("GET"))):
        with asked_of(at.store.reader) as told:
            found[actor, row] = asked(at, actor, row)
        for each in told:
            statements.setdefault(each.text, (row, each))
    for address in FURTHER:
        with asked_of(at.store.reader) as told:
            assert at.clients["lead"].get(at.path(address)).status_code == 200, address
        for each in told:
            statements.setdefault(each.text, (address, each))
    return before, contents(at), found, statements


@pytest.fixture(scope="module")
def answers(at: World, looked: Looked) -> Answers:
    """What everybody gets for everything. Whoever signs out does so last."""
    posts = sorted((row for row in NEEDED if row.startswith("POST")), key=lambda row: row == "POST /sign-out")
    return looked[2] | {(actor, row): asked(at, actor, row) for actor in ACTORS for row in posts}


def asked(at: World, actor: str, row: str, **more: Any) -> Response:
    """One request of a row."""
    method, template = row.split(" ")
    return at.clients[actor].request(method, at.path(template), **sent(at, row), **more)


def contents(at: World) -> dict[str, list[Any]]:
    """Every row of every table."""
    with at.store.reading() as db:
        metadata = MetaData()
        metadata.reflect(db.connection())
        return {table.name: list(map(str, db.execute(select(table)))) for table in metadata.sorted_tables}


def reaches(actor: str, row: str) -> bool:
    """Whether somebody may do what a row does."""
    needed = NEEDED[row]
    return needed is None or Role("stranger" if actor == "revoked" else actor).reaches(needed)


def test_every_route_has_its_row_and_every_row_its_route(at: World) -> None:
    """A new route goes into `roles.py`, and what its path names into `world.py`."""
    assert set(rows(at.app)) == set(NEEDED)
    assert {row.split(" ")[0] for row in NEEDED} == {"GET", "POST"}


def test_a_row_has_the_role_that_the_route_checks(at: World) -> None:
    assert {row: asks_for(route.dependant) for row, route in rows(at.app).items()} == NEEDED


def asks_for(dependant: Any) -> Role | None:
    """The role that a route's context names."""
    for inner in dependant.dependencies:
        role = getattr(inner.call, "role", None) or asks_for(inner)
        if role is not None:
            return Role(role)
    return None


@pytest.mark.parametrize("actor", ACTORS)
def test_everybody_reaches_what_is_theirs_and_nothing_else(answers: Answers, actor: str) -> None:
    refused = 401 if actor in ("stranger", "revoked") else 403
    wrong = {}
    for row in NEEDED:
        status = answers[actor, row].status_code
        if (actor, row) in OWN_RULE:
            fine = status == OWN_RULE[actor, row]
        else:
            fine = status not in (401, 403) if reaches(actor, row) else status == refused
        if not fine:
            wrong[row] = status
    assert wrong == {}


def test_looking_changes_nothing(looked: Looked) -> None:
    before, after, *_ = looked
    assert len(before["item"]) > 50
    assert {name for name in before if before[name] != after[name]} == set()


def test_nothing_breaks_and_nothing_is_cut_short(answers: Answers) -> None:
    assert {key: found.status_code for key, found in answers.items() if found.status_code >= 500} == {}
    reached = {row for row in NEEDED if answers["lead", row].status_code in (200, 201, 303)}
    assert len(reached) > len(NEEDED) * 0.6, "the paths of world.py lead nowhere"


def test_every_answer_has_the_headers(at: World, answers: Answers) -> None:
    errors = {
        "no route": at.clients["stranger"].get("/nowhere"),
        "no method": at.clients["lead"].delete("/gear"),
        "no static": at.clients["stranger"].get("/static/../service/app.py"),
        "foreign host": at.clients["lead"].get("/gear", headers={"Host": "evil.example"}),
        "other site": at.clients["lead"].post("/places", headers={"Authorization": "", "Origin": "http://x"}),
    }
    assert [found.status_code for found in errors.values()] == [404, 405, 404, 421, 403]
    wanted = headers_of_every_answer(secure=False).items()
    files = {key: found for key, found in answers.items() if key[1].startswith("GET /static/")}
    for key, found in [*answers.items(), *errors.items()]:
        for name, value in headers_of_files(secure=False).items() if key in files and found.is_success else wanted:
            assert found.headers.get(name) == value, (key, name)
    csp = answers["lead", "GET /"].headers["content-security-policy"]
    assert "unsafe" not in csp
    assert {"object-src 'none'", "base-uri 'none'", "frame-ancestors 'none'"} <= set(csp.split("; "))


def test_what_is_about_people_is_kept_nowhere(answers: Answers) -> None:
    files = {"GET /static/m-{version}/{path:path}", "GET /static/{path:path}"}
    kept = files | {"GET /sw.js", "GET /manifest.webmanifest", "GET /offline"}
    for (actor, row), found in answers.items():
        if row not in kept:
            rule = found.headers["cache-control"]
            assert rule in ("no-store", "private, no-cache"), (actor, row, rule)


def test_a_stranger_reads_nobodys_name(at: World, answers: Answers) -> None:
    with at.store.reading() as db:
        names = [name for name in db.scalars(select(Person.display_name)) if not name.startswith(("The ", "Tester "))]
    assert len(names) > 3
    shown = re.compile("|".join(rf"\b{re.escape(name)}\b" for name in names))
    assert any(shown.search(answers["viewer", row].text) for row in NEEDED)
    for row in NEEDED:
        assert shown.findall(answers["stranger", row].text) == [], row


SITES = ("same-origin", "none", "same-site", "cross-site", None)
ORIGINS = (BASE, f"{BASE}.evil.example", "null", None)


def test_a_write_comes_from_a_page_of_ours_on_every_route(at: World) -> None:
    """Fetch Metadata where the browser sends it, else the Origin; nothing said is refused too. Without a cookie there
    is nothing that another site could borrow: the API then asks who it is.
    """
    knocking = TestClient(at.app, BASE, headers={"Cookie": "coilbook=of-somebody"}, follow_redirects=False)
    without = TestClient(at.app, BASE, follow_redirects=False)
    knocking.portal = without.portal = at.clients["stranger"].portal  # no event loop for each of thousands of requests
    for number, row in enumerate(row for row in NEEDED if not row.startswith("GET")):
        method, template = row.split(" ")
        # Every origin where the browser tells no site; each site with one of them, which is another on the next route.
        sites = [(site, ORIGINS[(number + turn) % len(ORIGINS)]) for turn, site in enumerate(SITES) if site]
        for site, origin in [*sites, *((None, origin) for origin in ORIGINS)]:
            headers = {"Sec-Fetch-Site": site, "Origin": origin}
            given = {name: value for name, value in headers.items() if value is not None}
            ours = site in ("same-origin", "none") if site else origin == BASE
            found = knocking.request(method, at.path(template), headers=given)
            assert ("another site" in found.text) is not ours, (row, given)
            assert (found.status_code == 403) is not ours, (row, given)
            if "/api/" in row:
                assert without.request(method, at.path(template), headers=given).status_code == 401, (row, given)


def test_a_foreign_name_is_refused_on_every_route(at: World) -> None:
    for row in NEEDED:
        assert asked(at, "lead", row, headers={"Host": "evil.example"}).status_code == 421, row


@pytest.mark.parametrize("secure", [False, True])
def test_the_cookie_stays_with_us(tmp_path_factory: pytest.TempPathFactory, secure: bool) -> None:
    base = "https://cables.test" if secure else BASE
    with world(tmp_path_factory.mktemp("cookies"), base_url=base) as here:
        with here.store.writing() as db:
            made = actions.make_pass(db, Role.CREW, "Thursdays", None, here.clock.now)
        phone = TestClient(here.app, base, headers={"Origin": base}, follow_redirects=False)
        came = phone.post("/join", data={"pass": made.secret, "name": "Jo"})
        [(name, cookie)] = SimpleCookie(came.headers["set-cookie"]).items()
        assert name == ("__Host-coilbook" if secure else "coilbook")
        assert (cookie["httponly"], cookie["samesite"], cookie["path"]) == (True, "lax", "/")
        assert cookie["domain"] == ""
        assert bool(cookie["secure"]) is secure
        assert ("strict-transport-security" in came.headers) is secure
        assert len(cookie.value) >= 43  # 256 bits, where ASVS 5.0 7.2.3 asks for 128
        assert phone.get("/me").status_code == 200


def test_revoking_counts_from_the_next_request_on(tmp_path_factory: pytest.TempPathFactory) -> None:
    with world(tmp_path_factory.mktemp("revoked")) as here:
        assert here.clients["crew"].get("/gear").status_code == 200
        with here.store.reading() as db:
            who = db.scalars(select(Person.id).where(Person.display_name == "The crew")).one()
        assert here.clients["lead"].post(f"/crew/people/{who}/end").status_code == 303
        assert here.clients["crew"].get("/gear").status_code == 401
        assert asked(here, "crew", "POST /api/v1/tests").status_code == 401


def test_the_interface_is_described_to_leads_only(at: World) -> None:
    for path in ("/docs", "/redoc", "/openapi.json"):
        assert at.clients["lead"].get(path).status_code == 404
    assert at.clients["stranger"].get("/api/v1/openapi.json").status_code == 401


def scanned(
    statements: Statements,
    connection: Connection,
    explain: Callable[[Connection, Asked], list[str]],
    but: tuple[str, ...] = OF_WEAR,
) -> dict[str, list[str]]:
    """The statements that go through the log without being allowed to, each after the row that it came with."""
    found = {}
    for row, told in statements.values():
        text = " ".join(told.text.split())
        if told.made is None or not told.made.is_select or row in WHOLE_LOG or text.startswith(but):
            continue
        if tables := explain(connection, told):
            found[f"{row}: {text}"] = tables
    return found


def test_no_page_goes_through_the_whole_log_on_sqlite(at: World, looked: Looked) -> None:
    statements = looked[3]
    assert len(statements) > 200
    with at.store.reader.connect() as connection:
        assert scanned(statements, connection, scans_of_sqlite) == {}
        no_index = select(Test.id).where(Test.note == "x")
        with asked_of(at.store.reader) as told:
            connection.execute(no_index)
        assert scans_of_sqlite(connection, told[0]) == ["test"]


def test_no_page_goes_through_the_whole_log_on_postgres(looked: Looked, postgres_url: str) -> None:
    statements = looked[3]
    migrated(postgres_url)
    engine = create_engine(postgres_url)
    with engine.connect() as connection:
        assert scanned(statements, connection, scans_of_postgres, OF_WEAR + TURNED_ROUND) == {}
        no_index = select(Test.id).where(Test.note == "x").limit(1)
        assert scans_of_postgres(connection, Asked("", None, no_index, {})) == ["test"]
    engine.dispose()
