"""Guessing a lead's passphrase is bounded, and keeps nobody out who signed in on their device before."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta

import pytest
from fastapi.testclient import TestClient
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import func, select

from service.app import create_app
from service.crew import actions, queries
from service.crew.core import Role, fingerprint
from service.crew.passphrases.core import NAME_HOUR, PassphraseTry, refuse_too_many
from service.crew.passphrases.models import SignInTry
from service.kit.text import folded
from service.settings import Settings
from service.web.limits import TooFast
from tests.support.program import BASE, START, Running

RIGHT = "copper river lantern"
HOTSPOT, ELSEWHERE = "203.0.113.7", "198.51.100.9"


def device(program: Running, network: str) -> TestClient:
    """A device that nobody is signed in on yet, in this network."""
    app = program.stranger.app
    return TestClient(app, BASE, headers={"Origin": BASE}, follow_redirects=False, client=(network, 50_000))


def tried(client: TestClient, passphrase: str = "not this one", name: str = "Lead") -> int:
    """How a try is answered."""
    return client.post("/sign-in", data={"name": name, "passphrase": passphrase}).status_code


def used_up(program: Running, name: str = "Lead") -> None:
    """As many wrong tries at a name in this hour, from three networks far away, as are counted."""
    with program.store.writing() as db:
        for number in range(NAME_HOUR.most):
            source, at = fingerprint(f"192.0.2.{number % 3}"), program.clock.now - timedelta(minutes=number / 2)
            db.add(SignInTry(at=at, name_hash=fingerprint(folded(name)), source_hash=source, known=False))


def counted(program: Running) -> int:
    """How many tries are counted."""
    with program.store.reading() as db:
        return db.scalar(select(func.count()).select_from(SignInTry)) or 0


def test_a_name_takes_five_wrong_tries_a_minute_from_one_network(program: Running) -> None:
    program.lead.post("/me/passphrase", data={"passphrase": RIGHT})
    guesser = device(program, ELSEWHERE)
    assert [tried(guesser, name=name) for name in ("Lead", "lead", " LEAD ", "Lead", "ｌead")] == [401] * 5
    refused = guesser.post("/sign-in", data={"name": "Lead", "passphrase": RIGHT})
    assert (refused.status_code, refused.headers["retry-after"]) == (429, "60")
    assert "A link lets you in at once" in refused.text
    before = counted(program)
    assert tried(guesser) == 429
    assert counted(program) == before  # what is refused writes nothing
    assert tried(device(program, HOTSPOT), RIGHT) == 303  # and keeps nobody out elsewhere
    assert counted(program) == before  # what is right does not count
    program.clock.ahead(seconds=61)
    assert tried(guesser) == 401


def test_a_name_that_nobody_has_is_answered_alike(program: Running) -> None:
    program.lead.post("/me/passphrase", data={"passphrase": RIGHT})
    guesser = device(program, ELSEWHERE)
    answers = [
        [guesser.post("/sign-in", data={"name": name, "passphrase": "no"}) for _ in range(6)]
        for name in ("Lead", "Xyz")
    ]
    told = [
        [(each.status_code, each.text.replace(name, "")) for each in some]
        for name, some in zip(("Lead", "Xyz"), answers, strict=True)
    ]
    assert told[0] == told[1]
    assert [status for status, _ in told[0]] == [401] * 5 + [429]


def test_a_device_that_signed_in_before_is_never_kept_out(program: Running) -> None:
    program.lead.post("/me/passphrase", data={"passphrase": RIGHT})
    mine = device(program, HOTSPOT)
    assert tried(mine, RIGHT) == 303
    mine.post("/sign-out")
    used_up(program)
    assert tried(device(program, HOTSPOT), RIGHT) == 429
    with program.store.writing() as db:
        made = actions.make_pass(db, Role.CREW, "Thursdays", None, program.clock.now)
        lead = queries.first_lead(db)
        assert lead is not None
        link = actions.make_sign_in_link(db, lead, program.clock.now)
    assert mine.post("/join", data={"pass": made.secret, "name": "Jo"}).status_code == 303  # a student borrows it
    mine.post("/sign-out")
    assert tried(mine, RIGHT) == 303
    new = device(program, HOTSPOT)
    assert new.post("/join", data={"pass": link.secret}).status_code == 303  # a link lets in a new device
    new.post("/sign-out")
    assert tried(new, RIGHT) == 303
    assert [tried(mine) for _ in range(6)] == [401] * 5 + [429]  # it has a budget of its own, and no more
    assert tried(new, RIGHT) == 303


def test_a_device_is_known_under_the_names_that_signed_in_on_it(program: Running) -> None:
    """Whoever has signed in as somebody else gets no more guesses at a lead's name by that."""
    with program.store.writing() as db:
        link = actions.make_pass(db, Role.LEAD, "Robin", None, program.clock.now)
    theirs = device(program, HOTSPOT)
    assert theirs.post("/join", data={"pass": link.secret, "name": "Robin"}).status_code == 303
    used_up(program)
    assert tried(theirs) == 429
    mine = theirs.cookies["coilbook-device"]
    stranger = device(program, ELSEWHERE)
    stranger.cookies.set("coilbook-device", mine[::-1])  # one that we never gave
    assert tried(stranger) == 429
    student = device(program, HOTSPOT)
    with program.store.writing() as db:
        made = actions.make_pass(db, Role.CREW, "Thursdays", None, program.clock.now)
    student.post("/join", data={"pass": made.secret, "name": "Jo"})
    assert "coilbook-device" not in student.cookies  # of students no device is kept


@contextmanager
def another_worker(program: Running) -> Iterator[TestClient]:
    """The service in another process, as far as its memory goes."""
    app = create_app(Settings(program.store.url, base_url=BASE), program.clock)
    with TestClient(app, BASE, headers={"Origin": BASE}, follow_redirects=False, client=(ELSEWHERE, 50_000)) as client:
        yield client


def test_workers_count_together(program: Running) -> None:
    here = device(program, ELSEWHERE)
    with another_worker(program) as there:
        assert [tried(worker) for worker in (here, there, here, there, here)] == [401] * 5
        assert (tried(there), tried(here)) == (429, 429)


def test_guessing_the_passphrase_that_counts_until_now_is_bounded(program: Running) -> None:
    program.lead.post("/me/passphrase", data={"passphrase": RIGHT})
    mine = device(program, HOTSPOT)
    tried(mine, RIGHT)
    program.clock.ahead(minutes=16)
    new = {"passphrase": "lantern river copper", "current": "not this one"}
    assert [mine.post("/me/passphrase", data=new).status_code for _ in range(6)] == [422] * 5 + [429]
    program.clock.ahead(minutes=1)
    assert mine.post("/me/passphrase", data=new | {"current": RIGHT}).status_code == 200


def taken(tries: list[tuple[datetime, PassphraseTry]]) -> list[tuple[datetime, PassphraseTry]]:
    """Those of these tries, all wrong, that there was room for."""
    fitted: list[tuple[datetime, PassphraseTry]] = []
    for at, each in tries:
        try:
            refuse_too_many(at, each, fitted)
        except TooFast:
            continue
        fitted.append((at, each))
    return fitted


@given(st.lists(st.tuples(st.integers(0, 7200), st.integers(0, 5), st.booleans()), max_size=300))
def test_no_hour_ever_holds_more_guesses(tries: list[tuple[int, int, bool]]) -> None:
    sent = [
        (START + timedelta(seconds=second), PassphraseTry("lead", str(source), known))
        for second, source, known in sorted(tries)
    ]
    fitted = taken(sent)
    for known, most, each_most in ((False, 60, 20), (True, 300, 30)):
        of_kind = [(at, each.source) for at, each in fitted if each.known == known]
        for first, _ in of_kind:
            hour = [source for at, source in of_kind if first <= at < first + timedelta(hours=1)]
            assert len(hour) <= most
            assert max(map(hour.count, hour)) <= each_most


@pytest.mark.parametrize(("networks", "most"), [(1, 20), (2, 40), (3, 60), (8, 60)])
def test_the_bounds_are_reached_and_hold(networks: int, most: int) -> None:
    """One try every 12 seconds from each network: as the minute's limit lets through."""
    sent = [
        (START + timedelta(seconds=12 * turn + network / 100), PassphraseTry("lead", str(network), known=False))
        for turn in range(300)
        for network in range(networks)
    ]
    assert len(taken(sent)) == most


def test_a_clock_that_was_set_back_locks_nobody_out() -> None:
    later = START + timedelta(days=1)
    tries = [(later, PassphraseTry("lead", "here", known=False))] * 5
    assert taken(tries) == tries
    refuse_too_many(START, tries[0][1], tries)  # raises nothing
