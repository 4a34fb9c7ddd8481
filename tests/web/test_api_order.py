"""The API knows first who asks: 401, then 403, and only then what is wrong with what was sent."""

from collections.abc import Iterator

import pytest
from fastapi.testclient import TestClient

from tests.support.program import BASE
from tests.web.roles import CREW, LEAD, NEEDED
from tests.web.world import World, world

WRITES = [row for row in NEEDED if row.startswith("POST /api/")]
BODIES = ('{"id": 1}', "{", '"\\ud800"', "")
NO_JSON = (b"\xff", b"[" * 100_000, b"1" * 5000)


@pytest.fixture(scope="module")
def at(tmp_path_factory: pytest.TempPathFactory) -> Iterator[World]:
    with world(tmp_path_factory.mktemp("order"), limits=False) as here:
        yield here


def status(client: TestClient, at: World, row: str, body: str) -> int:
    method, template = row.split(" ")
    headers = {"Content-Type": "application/json"}
    return client.request(method, at.path(template), content=body, headers=headers).status_code


@pytest.mark.parametrize("body", BODIES)
def test_who_asks_is_told_before_what_is_wrong(at: World, body: str) -> None:
    for row in WRITES:
        assert status(at.clients["stranger"], at, row, body) == 401, row
        assert status(at.clients["viewer"], at, row, body) == 403, row
        assert status(at.clients["crew"], at, row, body) == (403 if row in LEAD else 422), row
        assert status(at.clients["lead"], at, row, body) == 422, row
    assert {row in CREW for row in WRITES} == {row in LEAD for row in WRITES} == {True, False}


@pytest.mark.parametrize("body", NO_JSON, ids=["no text", "too deep", "too long a number"])
def test_who_asks_is_told_before_what_cannot_be_read(at: World, body: bytes) -> None:
    headers = {"Content-Type": "application/json"}
    told = [
        at.clients[who].post("/api/v1/tests", content=body, headers=headers) for who in ("stranger", "viewer", "crew")
    ]
    assert [each.status_code for each in told] == [401, 403, 400]


def test_a_wrong_address_or_filter_says_first_who_may(at: World) -> None:
    for path in ("/api/v1/items/nope", "/api/v1/items?limit=900", "/api/v1/due?on=soon", "/api/v1/tests?limit=x"):
        refused = at.clients["stranger"].get(path)
        assert (refused.status_code, refused.headers["www-authenticate"][:6]) == (401, "Bearer"), path
        assert at.clients["viewer"].get(path).status_code == 422, path


@pytest.mark.parametrize("scheme", ["Bearer", "bearer", "BEARER"])
def test_the_scheme_of_a_token_is_read_in_any_case(at: World, scheme: str) -> None:
    token = at.clients["crew"].headers["authorization"].split()[1]
    phone = TestClient(at.app, BASE, headers={"Authorization": f"{scheme} {token}"})
    assert phone.post("/api/v1/tests", json={}).status_code == 422


def test_a_cookie_is_checked_as_ever(at: World) -> None:
    with_cookie = TestClient(at.app, BASE, headers={"Cookie": "coilbook=x", "Sec-Fetch-Site": "cross-site"})
    answer = with_cookie.post("/api/v1/tests", json={})
    assert (answer.status_code, "another site" in answer.text) == (403, True)
