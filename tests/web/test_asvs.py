"""OWASP ASVS 5.0.0: every row of `asvs.toml` has its proof; and the proofs that no other file holds."""

import json
import logging
import re
import tomllib
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from service.crew import actions
from service.crew.core import LEAD_LONGEST, Role
from service.home.people import pages
from service.web.middleware.request_log import LineFormatter
from service.web.middleware.security import BODY_MOST
from tests.support.program import BASE, Running, op, running

TESTS = Path(__file__).parents[1]
STATIC = TESTS.parent / "static"
CHAPTERS: dict[str, dict[str, dict[str, Any]]] = tomllib.loads((TESTS / "web/asvs.toml").read_text())
ROWS = {number: row for chapter in CHAPTERS.values() for number, row in chapter.items()}
LEVEL_1 = [
    "1.2.1",
    "1.2.2",
    "1.2.3",
    "1.2.4",
    "1.2.5",
    "1.3.1",
    "1.3.2",
    "1.5.1",
    "2.1.1",
    "2.2.1",
    "2.2.2",
    "2.3.1",
    "3.2.1",
    "3.2.2",
    "3.3.1",
    "3.4.1",
    "3.4.2",
    "3.5.1",
    "3.5.2",
    "3.5.3",
    "4.1.1",
    "4.4.1",
    "5.2.1",
    "5.2.2",
    "5.3.1",
    "5.3.2",
    "6.1.1",
    "6.2.1",
    "6.2.2",
    "6.2.3",
    "6.2.4",
    "6.2.5",
    "6.2.6",
    "6.2.7",
    "6.2.8",
    "6.3.1",
    "6.3.2",
    "6.4.1",
    "6.4.2",
    "7.2.1",
    "7.2.2",
    "7.2.3",
    "7.2.4",
    "7.4.1",
    "7.4.2",
    "8.1.1",
    "8.2.1",
    "8.2.2",
    "8.3.1",
    "9.1.1",
    "9.1.2",
    "9.1.3",
    "9.2.1",
    "10.4.1",
    "10.4.2",
    "10.4.3",
    "10.4.4",
    "10.4.5",
    "11.3.1",
    "11.3.2",
    "11.4.1",
    "12.1.1",
    "12.2.1",
    "12.2.2",
    "13.4.1",
    "14.2.1",
    "14.3.1",
    "15.1.1",
    "15.2.1",
    "15.3.1",
]
"""The 70 requirements of level 1 (OWASP ASVS 5.0.0, its table of requirements as CSV)."""


def test_level_one_is_whole() -> None:
    assert len(LEVEL_1) == 70
    assert [number for number in LEVEL_1 if number not in ROWS] == []


@pytest.mark.parametrize("number", ROWS)
def test_a_row_has_its_tests_or_its_reason(number: str) -> None:
    row = ROWS[number]
    assert row.keys() - {"asks"} in ({"tests"}, {"because"}, {"open"})
    assert row["asks"]
    for named in row.get("tests", ()):
        file, test = named.split("::")
        text = (TESTS / file).read_text()
        assert re.search(r"^def test_" if test == "*" else rf"^def {test}\(", text, re.MULTILINE), named


def test_a_row_stands_in_its_chapter() -> None:
    assert all(number.startswith(f"{name[1:]}.") for name, chapter in CHAPTERS.items() for number in chapter)


@pytest.fixture
def program(sqlite_url: str) -> Iterator[Running]:
    """The service on SQLite: none of this depends on the database."""
    with running(sqlite_url) as service:
        yield service


MARKUP = {"views.js": 1}
"""Where a script puts markup into a page: the form that the service made and the phone took along."""


def test_scripts_build_no_html() -> None:
    """Text goes into a page by textContent."""
    for path in STATIC.rglob("*.js"):
        found = re.findall(
            r"innerHTML\s*\+?=|outerHTML\s*=|insertAdjacentHTML|document\.write|\beval\(", path.read_text()
        )
        assert len(found) == MARKUP.get(path.name, 0), path.name


def test_text_says_its_encoding(program: Running) -> None:
    for path in ("/sign-in", "/nowhere", "/healthz", "/sw.js", "/static/look/coilbook.css"):
        kind = program.stranger.get(path).headers["content-type"]
        assert kind.startswith("text/")
        assert "charset=utf-8" in kind.lower(), path
    assert program.lead.get("/api/v1/items").headers["content-type"] == "application/json"


def test_a_body_is_cut_while_it_streams(program: Running) -> None:
    given = 0

    def endless() -> Iterator[bytes]:
        nonlocal given
        while given < 10 * BODY_MOST:
            given += 100_000
            yield b"x" * 100_000

    answer = program.crew.post("/scan", content=endless(), headers={"Content-Type": "multipart/form-data; boundary=x"})
    assert answer.status_code in (413, 422)
    told = program.crew.post("/scan", content=b"", headers={"Content-Length": str(BODY_MOST + 1)})
    assert told.status_code == 413


def test_passphrase_fields_hide_and_may_be_filled_in(program: Running) -> None:
    program.lead.post("/me/passphrase", data={"passphrase": "copper river lantern"})
    for page in (program.stranger.get("/sign-in").text, program.lead.get("/me").text):
        fields = re.findall(r'<input[^>]*name="(?:passphrase|current)"[^>]*>', page)
        assert fields
        for field in fields:
            assert 'type="password"' in field
            assert re.search(r'autocomplete="(?:current|new)-password"', field)
            assert "onpaste" not in field
            assert "maxlength" not in field


def test_a_lead_is_signed_out_after_seven_days(program: Running) -> None:
    with program.store.writing() as db:
        link = actions.make_pass(db, Role.LEAD, "Another lead", None, program.clock.now)
    assert program.stranger.post("/join", data={"pass": link.secret, "name": "Kim"}).status_code == 303
    program.clock.now += LEAD_LONGEST - timedelta(seconds=1)
    assert program.stranger.get("/me").status_code == 200
    program.clock.ahead(seconds=2)
    assert program.stranger.get("/me").status_code == 401


def test_signing_out_is_two_taps_from_everywhere(program: Running) -> None:
    assert 'href="/more"' in program.crew.get("/gear").text
    assert 'href="/me"' in program.crew.get("/more").text
    assert 'action="/sign-out"' in program.crew.get("/me").text


def test_folders_are_not_listed(program: Running) -> None:
    for path in (
        "/static/",
        "/static/outbox/",
        "/static/../pyproject.toml",
        "/static/%2e%2e/pyproject.toml",
    ):
        assert program.lead.get(path).status_code in (404, 405), path


def test_trace_is_not_taken(program: Running) -> None:
    assert program.lead.request("TRACE", "/gear").status_code == 405


def test_a_field_too_many_is_refused(program: Running) -> None:
    wanted = {"id": op(), "kind": "cable", "wiring": "xlr3", "length": "10 ft"}
    answer = program.lead.post("/api/v1/items", json=wanted | {"state": "retired"})
    assert answer.status_code == 422
    assert [error["field"] for error in answer.json()["errors"]] == ["state"]
    program.viewer.post("/me/address", data={"address": "a@example.org", "role": "lead"})
    assert program.viewer.get("/crew").status_code == 403


def test_nothing_typed_begins_a_line_of_the_log() -> None:
    typed = 'x\n{"level": "info"}\r\u2028'
    line = LineFormatter().format(logging.LogRecord("coilbook", logging.INFO, "", 0, "%s", (typed,), None))
    assert "\n" not in line
    assert json.loads(line)["says"] == typed


def test_our_own_fault_tells_the_world_nothing(program: Running, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_args: object, **_more: object) -> None:
        raise RuntimeError("the secret of the house")

    monkeypatch.setattr(pages, "_crew", broken)
    client = TestClient(program.lead.app, BASE, headers=dict(program.lead.headers), raise_server_exceptions=False)
    answer = client.get("/crew")
    assert answer.status_code == 500
    for word in ("secret of the house", "RuntimeError", "Traceback", ".py"):
        assert word not in answer.text
    assert "content-security-policy" in answer.headers
