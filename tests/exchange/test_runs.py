"""Whoever brings a large sheet in sees how far it is, and then what came of it."""

import re
from collections.abc import Iterator
from concurrent.futures import wait
from threading import Event
from typing import Any
from uuid import uuid4

import pytest

from service.exchange.sheets.actions import import_sheet
from service.exchange.sheets.runs import ImportRuns
from service.kit.problems import Busy, Reused
from tests.exchange.test_sheets import fields, post, tried
from tests.support.program import running
from tests.support.waiting import PATIENCE

SHEET = "Kind,Wiring,Length,Label,Place\ncable,xlr3,10 ft,Row 1,Frame 1\n"


@pytest.fixture
def go_on(monkeypatch: pytest.MonkeyPatch) -> Iterator[Event]:
    """Lets imports come to an end, which stop until then."""
    may_end = Event()

    def slowly(*args: Any, **named: Any) -> Any:
        assert may_end.wait(PATIENCE)
        return import_sheet(*args, **named)

    monkeypatch.setattr("service.exchange.sheets.importing.import_sheet", slowly)
    yield may_end
    may_end.set()


def test_how_far_an_import_is_and_what_came_of_it(sqlite_url: str, go_on: Event) -> None:
    with running(sqlite_url) as program:
        runs: ImportRuns = program.lead.app.state.imports  # type: ignore[attr-defined]
        runs.timeout = 0
        asked = fields(tried(program, SHEET).text)
        sent = program.lead.post("/exchange/import", data=asked, files={"file": b""}, follow_redirects=False)
        address = sent.headers["location"]
        assert (sent.status_code, address) == (303, f"/exchange/imports/{asked['op']}")
        page = program.lead.get(address).text
        assert "Step 1 of 2: looking what becomes of each row." in page
        assert address in program.lead.get("/exchange").text
        [polled] = re.findall(r'data-progress="([^"]+)"', page)
        assert "data-over" not in program.lead.get(polled).text

        other = program.lead.post("/exchange/import", data=asked | {"bad": "good"}, files={"file": b""})
        assert other.status_code == Reused.status  # nothing else goes by the same id
        [run] = runs.running()
        go_on.set()
        wait([run.answer], PATIENCE)
        assert "data-over" in program.lead.get(polled).text
        assert "It is in the book" in program.lead.get(address).text
        program.lead.app.state.imports = ImportRuns()  # type: ignore[attr-defined]  # another worker, which never ran it
        assert "It is in the book" in program.lead.get(address).text
        assert program.lead.get(f"/exchange/imports/{uuid4()}").status_code == 404


def test_what_is_refused_after_a_while_is_shown_with_its_rows(sqlite_url: str, go_on: Event) -> None:
    with running(sqlite_url) as program:
        runs: ImportRuns = program.lead.app.state.imports  # type: ignore[attr-defined]
        runs.timeout = 0
        asked = fields(tried(program, SHEET).text)
        sent = post(program, "/exchange/import", asked | {"seen": "another"})
        assert sent.headers["location"] == f"/exchange/imports/{asked['op']}"
        [run] = runs.running()
        go_on.set()
        wait([run.answer], PATIENCE)
        page = program.lead.get(f"/exchange/imports/{asked['op']}")
        assert page.status_code == 422
        assert "the book has changed after you looked" in page.text


def test_what_broke_says_that_nothing_came_in(sqlite_url: str, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: Any, **_named: Any) -> Any:
        raise ZeroDivisionError

    monkeypatch.setattr("service.exchange.sheets.importing.import_sheet", broken)
    with running(sqlite_url) as program:
        asked = fields(tried(program, SHEET).text)
        for page in (post(program, "/exchange/import", asked), program.lead.get(f"/exchange/imports/{asked['op']}")):
            assert page.status_code == 500
            assert "Nothing of this sheet was brought in." in page.text


def test_one_comes_after_the_other_and_none_once_the_service_stops() -> None:
    runs, may_end = ImportRuns(), Event()
    first = runs.start(uuid4(), "one", {}, lambda _tell: may_end.wait(PATIENCE))
    second = runs.start(uuid4(), "two", {}, lambda _tell: "done")
    assert second.waits
    assert runs.start(first.id, "one", {}, lambda _tell: "never asked") is first
    runs.close()
    may_end.set()
    assert first.answer.result(PATIENCE)
    with pytest.raises(Busy):
        second.answer.result(PATIENCE)
