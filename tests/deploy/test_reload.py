"""`coilbook serve --reload`: a changed file of the service is served without a start by hand."""

import os
import shutil
import subprocess
import sys
import time
from contextlib import suppress
from http.client import HTTPConnection, HTTPException
from pathlib import Path

import pytest

from service.__main__ import main
from tests.bench.running import free_port
from tests.crash.service import ROOT
from tests.support.program import migrated

WITHIN = 60.0


def served(port: int) -> str:
    """What the service answers; empty while it starts."""
    connection = HTTPConnection("127.0.0.1", port, timeout=5)
    try:
        connection.request("GET", "/healthz")
        return connection.getresponse().read().decode()
    except (OSError, HTTPException):
        return ""
    finally:
        connection.close()


def wait_for(answer: str, port: int, process: subprocess.Popen[bytes]) -> None:
    until = time.monotonic() + WITHIN
    while served(port) != answer:
        assert time.monotonic() < until, f"no {answer!r} within {WITHIN} s"
        with suppress(subprocess.TimeoutExpired):
            raise AssertionError(f"the service ended with status {process.wait(0.1)}")  # the pause between two tries


def test_a_changed_file_is_served(tmp_path: Path) -> None:
    for folder in ("static", "templates", "migrations"):
        (tmp_path / folder).symlink_to(ROOT / folder)
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    shutil.copytree(ROOT / "service", tmp_path / "service")  # with what is compiled of it: the times of files stay
    url = f"sqlite:///{tmp_path / 'coilbook.db'}"
    migrated(url)
    port = free_port()
    process = subprocess.Popen(
        [sys.executable, "-m", "service", "serve", "--reload", "--port", str(port)],
        cwd=tmp_path,
        env=os.environ | {"COILBOOK_DATABASE_URL": url},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        wait_for("ok\n", port, process)
        health = tmp_path / "service/web/health.py"
        health.write_text(health.read_text().replace("ok\\n", "changed\\n"))
        wait_for("changed\n", port, process)
    finally:
        process.terminate()
        process.wait(WITHIN)


def test_it_goes_with_one_worker_only(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["serve", "--reload", "--workers", "2"]) == 1
    assert "--reload goes with one worker only, and --workers is 2" in capsys.readouterr().err
