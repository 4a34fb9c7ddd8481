"""The log says what happened, in lines of JSON, and nothing that opens a door or names anybody."""

import io
import json
import logging
import os
import re
import signal
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlalchemy.exc import IntegrityError

from service.crew import actions
from service.crew.core import Role
from service.crew.passphrases import actions as passphrases
from service.kit.problems import Problem
from service.settings import read_settings
from service.web.middleware.request_log import LineFormatter
from tests.bench.running import free_port, wait_for
from tests.support.program import BASE, Running, op, running
from tests.support.waiting import PATIENCE

ROOT = Path(__file__).parents[2]


@pytest.fixture
def written() -> Iterator[io.StringIO]:
    """What the log holds."""
    out = io.StringIO()
    handler = logging.StreamHandler(out)
    handler.setFormatter(LineFormatter())
    log = logging.getLogger("coilbook")
    level = log.level
    log.addHandler(handler)
    log.setLevel(logging.INFO)
    yield out
    log.removeHandler(handler)
    log.setLevel(level)


def lines(out: io.StringIO) -> list[dict[str, Any]]:
    """The log's lines, read."""
    return [json.loads(line) for line in out.getvalue().splitlines()]


def test_a_request_is_one_line_and_its_answer_names_it(sqlite_url: str, written: io.StringIO) -> None:
    with running(sqlite_url) as program:
        answer = program.lead.get("/t/ACDEFG?session=hidden")
        lost = program.lead.get("/nowhere/at-all")
    first, second = lines(written)
    assert first["request"] == answer.headers["x-request-id"] != lost.headers["x-request-id"]
    assert (first["method"], first["route"], first["status"]) == ("GET", "/t/{code}", answer.status_code)
    assert 0 <= first["ms"] < 60_000
    assert re.fullmatch(r"20\d\d-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}\+00:00", first["time"])
    assert (second["route"], second["status"]) == ("-", 404)
    assert set(first) == {"time", "level", "says", "request", "method", "route", "status", "ms"}


def test_who_asks_for_the_head_only_has_a_route_too(sqlite_url: str, written: io.StringIO) -> None:
    with running(sqlite_url) as program:
        program.lead.head("/t/ACDEFG?session=hidden")
    (line,) = lines(written)
    assert (line["method"], line["route"]) == ("HEAD", "/t/{code}")


def walked(program: Running) -> list[str]:
    """Everything that holds a secret or a name, done once; what must not be in the log."""
    with program.store.writing() as db:
        made = actions.make_pass(db, Role.CREW, "Thursdays", None, program.clock.now)
        link = actions.make_pass(db, Role.LEAD, "First lead", None, program.clock.now)
    came = program.stranger.post("/join?next=/gear", data={"pass": made.secret, "name": "Quillon"})
    cookie = program.stranger.cookies["coilbook"]
    program.stranger.get("/me")
    program.stranger.post("/join", data={"pass": "WRONGPASS1", "name": "Quillon"})
    program.stranger.post("/join", data={"pass": link.secret, "name": "Kimberlin"})
    program.lead.post("/me/passphrase", data={"passphrase": "copper river lantern"})
    program.lead.post("/me/address", data={"address": "kim@example.org"})
    program.stranger.post("/sign-in", data={"name": "Lead", "passphrase": "copper river lantern"})
    program.stranger.post("/sign-in", data={"name": "Lead", "passphrase": "wrong horse battery"})
    page = program.lead.post("/calendar/links", data={"op": op(), "label": "A parent"}).text
    calendar = re.search(r"/calendar/([\w-]{20,})\.ics", page)
    assert calendar
    assert program.stranger.get(f"/calendar/{calendar[1]}.ics").status_code == 200
    program.stranger.get(f"/calendar/{calendar[1]}x.ics")
    program.stranger.get(f"/calender/{calendar[1]}")
    program.lead.get("/find", params={"code": "SEEKME"})
    assert came.status_code == 303
    bearer = program.lead.headers["authorization"].split()[1]
    return [
        made.secret,
        link.secret,
        cookie,
        "WRONGPASS1",
        "copper river",
        "wrong horse",
        calendar[1],
        bearer,
        "Quillon",
        "Kimberlin",
        "kim@example.org",
        "SEEKME",
    ]


def test_no_secret_and_no_name_is_ever_written(sqlite_url: str, written: io.StringIO) -> None:
    with running(sqlite_url) as program:
        hidden = walked(program)
    log = written.getvalue()
    assert len(lines(written)) == 13
    assert [secret for secret in hidden if secret in log] == []


def test_our_own_fault_is_told_with_its_trace_and_without_what_was_sent(
    sqlite_url: str, written: io.StringIO, monkeypatch: pytest.MonkeyPatch
) -> None:
    name = "Quillon"  # not in the line that raises, which a trace quotes

    def broken(*_args: object) -> None:
        raise IntegrityError("INSERT INTO person VALUES (?)", (name,), Exception("full"), hide_parameters=True)

    with running(sqlite_url) as program:
        monkeypatch.setattr(passphrases, "sign_in", broken)
        client = TestClient(program.stranger.app, BASE, headers={"Origin": BASE}, raise_server_exceptions=False)
        answer = client.post("/sign-in", data={"name": name, "passphrase": "x"})
        assert program.store.writer.hide_parameters
        assert program.store.reader.hide_parameters
    assert answer.status_code == 500
    request, trace = lines(written)
    assert trace["request"] == request["request"] == answer.headers["x-request-id"]
    assert "IntegrityError" in trace["error"]
    assert (trace["route"], request["status"]) == ("/sign-in", 500)
    assert name not in written.getvalue()


def test_the_service_writes_it_to_its_output(tmp_path: Path) -> None:
    port = free_port()
    env = os.environ | {"COILBOOK_DATABASE_URL": f"sqlite:///{tmp_path / 'c.db'}"}
    command = [sys.executable, "-m", "service", "serve", "--port", str(port)]
    with subprocess.Popen(command, cwd=ROOT, env=env, stdout=subprocess.PIPE) as server:
        wait_for(port, server)
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/readyz?x=hidden", timeout=PATIENCE) as answer:
            told = answer.headers["X-Request-Id"]
        server.send_signal(signal.SIGTERM)
        out, _ = server.communicate(timeout=PATIENCE)
    found = [json.loads(line) for line in out.decode().splitlines() if line.startswith("{")]
    assert [line["route"] for line in found if line.get("request") == told] == ["/readyz"]
    assert b"hidden" not in out


def test_only_the_proxy_may_say_where_a_request_came_from() -> None:
    assert read_settings({}).proxy == "127.0.0.1"
    assert read_settings({"COILBOOK_PROXY": "172.30.0.0/24, ::1"}).proxy == "172.30.0.0/24, ::1"
    with pytest.raises(Problem, match="COILBOOK_PROXY must be the addresses"):
        read_settings({"COILBOOK_PROXY": "*"})
