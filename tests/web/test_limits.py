"""Limits stop whoever guesses or floods, and never a crew behind one address."""

import re
from datetime import UTC, datetime, timedelta

import pytest
from fastapi.testclient import TestClient
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import func, select

from service.crew import actions
from service.crew.core import Role
from service.serving import serve
from service.settings import Settings
from service.testlog.models import Test
from service.web.limits import KEYS_MOST, PASSES, PHOTOS, WRITES, Limit, Limiter, TooFast, network
from tests.support.program import BASE, Running, op, running

NOON = datetime(2026, 9, 21, 12, tzinfo=UTC)
THREE = Limit("three", 3, 60, "Too many.")


def after(seconds: float) -> datetime:
    """A moment after noon."""
    return NOON + timedelta(seconds=seconds)


def taken(limiter: Limiter, limit: Limit, moments: list[datetime], key: str = "k") -> list[datetime]:
    """The moments at which there was room."""
    fitted = []
    for moment in moments:
        try:
            limiter.take(limit, key, moment)
        except TooFast:
            continue
        fitted.append(moment)
    return fitted


@given(st.lists(st.integers(0, 200_000), max_size=60).map(sorted))
def test_no_window_ever_holds_more(moments: list[int]) -> None:
    fitted = taken(Limiter(), THREE, [after(ms / 1000) for ms in moments])
    for first, fourth in zip(fitted, fitted[3:], strict=False):
        assert fourth - first >= timedelta(seconds=60)


@given(st.lists(st.integers(0, 200_000), max_size=60).map(sorted))
def test_what_was_refused_fits_after_the_wait_that_was_told(moments: list[int]) -> None:
    limiter = Limiter()
    last = after(moments[-1] / 1000 if moments else 0)
    taken(limiter, THREE, [after(ms / 1000) for ms in moments] + [last] * 3)
    with pytest.raises(TooFast) as refused:
        limiter.take(THREE, "k", last)
    wait = refused.value.wait
    assert wait is not None
    assert 1 <= wait <= 60
    limiter.take(THREE, "k", last + timedelta(seconds=wait))


@given(st.lists(st.integers(-10_000, 10_000), min_size=4, max_size=4))
def test_a_clock_that_jumps_locks_nobody_out_for_longer(hours: list[int]) -> None:
    limiter = Limiter()
    for jump in hours:
        now = NOON + timedelta(hours=jump)
        taken(limiter, THREE, [now] * 9)
        assert taken(limiter, THREE, [now + timedelta(seconds=61)]) != []


def test_keys_and_limits_do_not_touch_each_other() -> None:
    limiter = Limiter()
    other = Limit("other", 3, 60, "Too many.")
    assert len(taken(limiter, THREE, [NOON] * 9, "a")) == 3
    assert len(taken(limiter, THREE, [NOON] * 9, "b")) == 3
    assert len(taken(limiter, other, [NOON] * 9, "a")) == 3


def test_memory_is_bounded_and_the_quietest_is_forgotten() -> None:
    limiter = Limiter(keys_most=10)
    for number in range(50):
        limiter.take(THREE, str(number), after(number))
    assert len(limiter) == 10
    assert KEYS_MOST * WRITES.most < 2_000_000


@pytest.mark.parametrize(
    ("host", "counts_for"),
    [
        ("203.0.113.7", "203.0.113.7"),
        ("2001:db8:1:2:3:4:5:6", "2001:db8:1:2::/64"),
        ("2001:db8:1:2::9", "2001:db8:1:2::/64"),
        ("::ffff:203.0.113.7", "203.0.113.7"),
        ("testclient", "testclient"),
    ],
)
def test_an_address_counts_for_its_network(host: str, counts_for: str) -> None:
    # RFC 6177: a site gets at least a /64, so single IPv6 addresses cost nobody anything
    assert network(host) == counts_for


def test_a_right_pass_is_let_in_however_many_wrong_ones_came(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        with program.store.writing() as db:
            made = actions.make_pass(db, Role.CREW, "Thursdays", None, program.clock.now)
            link = actions.make_pass(db, Role.LEAD, "Robin", None, program.clock.now)
        over = re.search(r"/take-over#(\w+)", program.lead.post("/handover/links").text)
        assert over
        guesses = [new_phone(program).post("/join", data={"pass": f"QQQQ{number}"}) for number in range(PASSES.most)]
        guesses += [new_phone(program).post(path, data={"pass": "QQQQ"}) for path in ("/join", "/take-over")]
        assert [guess.status_code for guess in guesses] == [410] * 10 + [429] * 2
        assert all(guess.headers["retry-after"] == "600" for guess in guesses[10:])
        assert "The right one lets you in at once" in guesses[10].text
        assert 'value="QQQQ"' in guesses[10].text  # on the form, with what was typed
        assert new_phone(program).post("/join", data={"pass": made.secret, "name": "Jo"}).status_code == 303
        assert new_phone(program).post("/join", data={"pass": link.secret, "name": "Robin"}).status_code == 303
        taken = new_phone(program).post("/take-over", data={"pass": over[1], "name": "Next", "sure": "yes"})
        assert taken.status_code == 303


def test_who_is_signed_in_mistypes_by_themselves(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        for number in range(PASSES.most):
            program.stranger.post("/join", data={"pass": f"QQQQ{number}"})
        assert program.stranger.post("/join", data={"pass": "QQQQ"}).status_code == 429
        assert program.crew.post("/join", data={"pass": "QQQQ"}).status_code == 410


def test_whoever_guesses_passes_keeps_nobody_from_writing(sqlite_url: str) -> None:
    with running(sqlite_url) as program, program.store.writing():  # while others write
        assert program.stranger.post("/join", data={"pass": "QQQQ", "name": "Jo"}).status_code == 410
        assert program.stranger.post("/take-over", data={"pass": "QQQQ", "sure": "yes"}).status_code == 410


def test_a_pass_that_has_ended_is_no_guess(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        with program.store.writing() as db:
            made = actions.make_pass(db, Role.CREW, "Thursdays", None, program.clock.now)
        program.lead.post(f"/crew/passes/{made.id}/end")
        codes = {
            program.stranger.post("/join", data={"pass": made.secret, "name": "Jo"}).status_code for _ in range(30)
        }
        assert codes == {410}


def new_phone(program: Running) -> TestClient:
    """Another phone behind the same address."""
    return TestClient(program.stranger.app, BASE, headers={"Origin": BASE}, follow_redirects=False)


def test_forty_phones_behind_one_address_come_in_beside_a_joker(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        with program.store.writing() as db:
            made = actions.make_pass(db, Role.CREW, "Thursdays", None, program.clock.now)
        [item] = program.lead.post(
            "/api/v1/items", json={"id": op(), "kind": "cable", "wiring": "xlr3", "length": "10 ft"}
        ).json()
        joker, answered, came = new_phone(program), [], []
        for number in range(40):
            answered += [joker.post("/join", data={"pass": f"QQ{number}{turn}"}).status_code for turn in "AB"]
            phone = new_phone(program)
            joined = phone.post("/join", data={"pass": made.secret, "name": f"Flute {number}"})
            told = {"id": op(), "item": item["code"], "method": "two_ended", "joined": [], "probed": "all"}
            came.append((joined.status_code, phone.post("/api/v1/tests", json=told).status_code))
        assert answered == [410] * 10 + [429] * 70
        assert came == [(303, 201)] * 40
        with program.store.reading() as db:
            assert db.scalar(select(func.count()).select_from(Test)) == 40


def test_writes_and_photos_have_their_limits(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        [item] = program.lead.post(
            "/api/v1/items", json={"id": op(), "kind": "cable", "wiring": "xlr3", "length": "10 ft"}
        ).json()
        same = {"id": op(), "item": item["code"], "method": "two_ended", "joined": [], "probed": "all"}
        codes = [program.crew.post("/api/v1/tests", json=same).status_code for _ in range(WRITES.most)]
        assert set(codes) == {201}
        late = program.crew.post("/api/v1/tests", json=same)
        assert late.status_code == 429
        assert late.headers["content-type"] == "application/problem+json"
        assert late.headers["retry-after"] == "60"
        assert program.lead.post("/api/v1/tests", json=same | {"id": op()}).status_code == 201
        photos = [program.crew.post("/scan", files={"photo": b"none"}) for _ in range(PHOTOS.most + 1)]
        assert [photo.status_code for photo in photos] == [422] * 12 + [429]


def test_without_limits_nothing_is_counted(sqlite_url: str) -> None:
    with running(sqlite_url, limits=False) as program:
        codes = {program.stranger.post("/join", data={"pass": f"QQQQ{number}"}).status_code for number in range(20)}
        assert codes == {410}


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.0.2.4", "cables.example.org"])
def test_limits_are_never_off_where_others_can_reach_it(host: str, sqlite_url: str) -> None:
    with pytest.raises(Exception, match="use --host 127"):
        serve(Settings(sqlite_url, limits=False), host, 0, 1)
