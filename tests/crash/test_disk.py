"""C3, C4 and C5: an answer waits for the disk; one that fails, is full or locked is told, and nothing is lost."""

import json
import re
import resource
import shutil
import subprocess
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, contextmanager
from functools import partial
from itertools import repeat
from pathlib import Path
from uuid import uuid4

import pytest

from service.store.engine import sqlite_driver
from tests.crash.load import GOOD
from tests.crash.service import Program, Service, prepared, running

CALLS = "fsync,fdatasync,read,recvfrom,recvmsg,write,writev,sendto,sendmsg"


def log(service: Service, entry: str, timeout: float = 15.0) -> tuple[int, str | None]:
    """Log a test under the id `entry`: the status, and when to come again."""
    body = json.dumps({"id": entry, "item": service.program.codes[0], "joined": GOOD, "note": entry})
    headers = {"Authorization": f"Bearer {service.program.token}", "Content-Type": "application/json"}
    with closing(service.connection(timeout)) as connection:
        connection.request("POST", "/api/v1/tests", body, headers)
        answer = connection.getresponse()
        answer.read()
        return answer.status, answer.getheader("Retry-After")


def logged(service: Service, timeout: float = 15.0) -> list[str]:
    """The notes of all tests in the log."""
    with closing(service.connection(timeout)) as connection:
        connection.request("GET", "/api/v1/tests", headers={"Authorization": f"Bearer {service.program.token}"})
        answer = connection.getresponse()
        assert answer.status == 200
        return [test["note"] for test in json.loads(answer.read())["items"]]


@contextmanager
def traced(service: Service, out: Path) -> Iterator[None]:
    """Write down what the service asks of the system while the block runs."""
    command = [
        "strace",
        "-f",
        "-y",
        "-s",
        "40",
        "-e",
        f"trace={CALLS}",
        "-o",
        str(out),
        "-p",
        str(service.process.pid),
    ]
    with subprocess.Popen(command, stderr=subprocess.PIPE, text=True) as strace:
        assert strace.stderr is not None
        said = strace.stderr.readline()
        try:
            if "attached" not in said:
                pytest.skip(f"the system lets nobody look on: {said.strip()}")
            yield
        finally:
            strace.terminate()


def syncs_before_answers(trace: str) -> list[int]:
    """For each 201 that was sent, how many syncs of the database or its log ended since its request came."""
    found, since = [], 0
    for line in trace.splitlines():
        if "POST /api/v1/tests" in line:
            since = 0
        elif re.search(r"(fsync|fdatasync)(\(.*| resumed>.*)= 0$", line):
            since += 1
        elif "HTTP/1.1 201" in line:
            found.append(since)
    return found


@pytest.mark.skipif(shutil.which("strace") is None, reason="strace is missing")
@pytest.mark.parametrize(("variant", "waits"), [("", True), ("unsynced", False)])
def test_no_answer_leaves_before_its_entry_is_on_the_disk(
    sqlite_url: str, tmp_path: Path, variant: str, waits: bool
) -> None:
    with running(prepared(sqlite_url), variant) as service:
        log(service, str(uuid4()))
        with traced(service, tmp_path / "trace"):
            for _ in range(5):
                assert log(service, str(uuid4()))[0] == 201
        syncs = syncs_before_answers((tmp_path / "trace").read_text())
    assert len(syncs) == 5
    assert all(count >= 1 for count in syncs) is waits


def told(service: Service, path: str) -> str:
    """What an address shows to a stranger."""
    with closing(service.connection()) as connection:
        connection.request("GET", path)
        return connection.getresponse().read().decode()


def told_to_come_again_and_loses_nothing(service: Service) -> Iterator[None]:
    """Two steps: the first once the disk fails, the second once it works again."""
    before, entry = str(uuid4()), str(uuid4())
    assert log(service, before)[0] == 201
    yield
    for _ in range(3):
        status, again = log(service, entry)
        assert status == 503
        assert again
        assert logged(service) == [before]
    assert all("what is saved can be read" in told(service, path) for path in ("/sign-in", "/join", "/readyz"))
    yield
    assert log(service, entry)[0] == 201
    assert log(service, entry)[0] == 201
    assert logged(service) == [entry, before]
    assert "what is saved can be read" not in told(service, "/sign-in")
    assert told(service, "/readyz") == "ready\n"


def test_a_disk_that_fails_is_told_and_nothing_is_lost(sqlite_url: str) -> None:
    with running(prepared(sqlite_url)) as service:
        steps = told_to_come_again_and_loses_nothing(service)
        next(steps)
        # Every write beyond the first page of a file fails, as on a disk with errors.
        most = resource.RLIM_INFINITY
        resource.prlimit(service.process.pid, resource.RLIMIT_FSIZE, (4096, most))
        next(steps)
        resource.prlimit(service.process.pid, resource.RLIMIT_FSIZE, (most, most))
        assert next(steps, "done") == "done"


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 8 MB."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=8m", "none", disk], capture_output=True, check=False)
    if mounted.returncode:
        pytest.skip("only root may mount a small disk")
    yield disk
    subprocess.run(["umount", disk], check=True)


def fill_up(disk: Path) -> None:
    with (disk / "filler").open("wb", 0) as filler, pytest.raises(OSError, match="No space left"):
        filler.writelines(repeat(b"x" * 4096))


def starts_to_be_read_and_is_written_again(program: Program, make_room: Callable[[], object]) -> None:
    entry = str(uuid4())
    with running(program) as service:
        assert logged(service) == []
        assert log(service, entry)[0] == 503
        assert all("what is saved can be read" in told(service, path) for path in ("/sign-in", "/readyz"))
        make_room()
        assert log(service, entry)[0] == 201
        assert logged(service) == [entry]
        assert told(service, "/readyz") == "ready\n"


def test_it_starts_on_a_full_disk(small_disk: Path) -> None:
    program = prepared(f"sqlite:///{small_disk / 'coilbook.db'}")
    fill_up(small_disk)
    starts_to_be_read_and_is_written_again(program, (small_disk / "filler").unlink)


def test_it_starts_in_a_folder_that_can_only_be_read(small_disk: Path) -> None:
    program = prepared(f"sqlite:///{small_disk / 'coilbook.db'}")
    remount = ["mount", "-o", "remount,ro", str(small_disk)]
    subprocess.run(remount, check=True)
    remount[2] = "remount,rw"
    starts_to_be_read_and_is_written_again(program, partial(subprocess.run, remount, check=True))


def test_a_full_disk_is_told_and_nothing_is_lost(small_disk: Path) -> None:
    with running(prepared(f"sqlite:///{small_disk / 'coilbook.db'}")) as service:
        steps = told_to_come_again_and_loses_nothing(service)
        next(steps)
        fill_up(small_disk)
        next(steps)
        (small_disk / "filler").unlink()
        assert next(steps, "done") == "done"


def test_a_lock_held_elsewhere_is_told_within_six_seconds_and_reading_goes_on(sqlite_url: str) -> None:
    program: Program = prepared(sqlite_url)
    entries = [str(uuid4()) for _ in range(12)]
    with running(program) as service, ThreadPoolExecutor(len(entries)) as phones:
        path = sqlite_url.removeprefix("sqlite:///")
        with closing(sqlite_driver().connect(path, isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            told = [phones.submit(log, service, entry, 6.0) for entry in entries]
            reads = 0
            while not all(each.done() for each in told):
                assert logged(service, 3.0) == []
                reads += 1
            assert {each.result()[0] for each in told} == {503}
            assert all(each.result()[1] for each in told)
            assert reads >= 3
            other.execute("ROLLBACK")
        assert {status for status, _ in phones.map(lambda entry: log(service, entry), entries)} == {201}
        assert sorted(logged(service)) == sorted(entries)
