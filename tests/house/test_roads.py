"""How many files of the service a request runs through: what a reader has to open to follow it."""

import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import Any

import pytest

from tests.support.program import op, running
from tests.testlog.support import GOOD, OPEN_2, bench
from tests.web.world import world

SERVICE = f"{Path(__file__).parents[2] / 'service'}/"
PASS, FAIL, PULL_PAGE = 26, 32, 36


@contextmanager
def counting() -> Iterator[set[str]]:
    """The files of the service whose functions run, in any thread that begins in here."""
    files: set[str] = set()

    def note(frame: FrameType, event: str, _: Any) -> None:
        if event == "call" and frame.f_code.co_filename.startswith(SERVICE):
            files.add(frame.f_code.co_filename.removeprefix(SERVICE))

    before = sys.getprofile()
    threading.setprofile(note)
    sys.setprofile(note)
    try:
        yield files
    finally:
        threading.setprofile(None)
        sys.setprofile(before)


def second_time(files: set[str], do: Callable[[], Any]) -> Any:
    """Do it twice and leave the files of the second time, when what is loaded once is loaded."""
    assert do().is_success
    files.clear()
    return do()


@pytest.mark.parametrize(("joined", "most"), [(GOOD, PASS), (OPEN_2, FAIL)], ids=["pass", "fail"])
def test_a_test_is_logged_in_few_files(tmp_path: Path, joined: list[list[str]], most: int) -> None:
    with counting() as files, running(f"sqlite:///{tmp_path / 'coilbook.db'}") as program:
        (code,) = bench(program, "xlr3").codes

        def log() -> Any:
            program.clock.ahead(minutes=3)
            return program.crew.post("/api/v1/tests", json={"id": op(), "item": code, "joined": joined})

        assert second_time(files, log).status_code == 201
        assert 10 < len(files) <= most, "\n".join(sorted(files))


def test_the_pull_page_runs_through_few_files(tmp_path: Path) -> None:
    """After a fail, whose history is new, so that nothing that is cached hides what it runs through."""
    with counting() as files, world(tmp_path) as demo:

        def look() -> Any:
            demo.clock.ahead(minutes=3)
            test = {"id": op(), "item": demo.params["code"], "joined": OPEN_2}
            assert demo.clients["crew"].post("/api/v1/tests", json=test).status_code == 201
            files.clear()
            return demo.clients["lead"].get("/pull", follow_redirects=True)

        assert second_time(files, look).status_code == 200
        assert 10 < len(files) <= PULL_PAGE, "\n".join(sorted(files))
