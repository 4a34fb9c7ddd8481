"""Who begins a request and goes away takes nobody's place, and breaks nothing."""

import logging
import socket
import urllib.request
from collections.abc import Iterator
from queue import SimpleQueue
from urllib.parse import urlsplit

import pytest

from service.web.middleware import slow_requests
from service.web.middleware.slow_requests import HEAD_MOST
from tests.support.serving import Served, served
from tests.support.waiting import PATIENCE

BEGUN = [
    b"",
    b"GET /healthz HTTP/1.1\r\nHost: local",
    b"POST /join HTTP/1.1\r\nHost: localhost\r\nSec-Fetch-Site: same-origin\r\n"
    b"Content-Type: application/x-www-form-urlencoded\r\nContent-Length: 100\r\n\r\npass=",
]


class Heard(logging.Handler):
    """What the service logs, as it comes."""

    def __init__(self) -> None:
        super().__init__()
        self.records = SimpleQueue[logging.LogRecord]()

    def emit(self, record: logging.LogRecord) -> None:
        self.records.put(record)


@pytest.fixture
def heard() -> Iterator[Heard]:
    log, handler = logging.getLogger("coilbook"), Heard()
    level = log.level
    log.addHandler(handler)
    log.setLevel(logging.INFO)
    yield handler
    log.removeHandler(handler)
    log.setLevel(level)


def connected(at: Served) -> socket.socket:
    parts = urlsplit(at.base)
    return socket.create_connection((parts.hostname or "", parts.port or 0), timeout=PATIENCE)


def ready(at: Served) -> int:
    with urllib.request.urlopen(f"{at.base}/healthz", timeout=PATIENCE) as answer:
        status: int = answer.status
        return status


def test_who_does_not_get_a_request_across_in_time_is_hung_up_on(
    sqlite_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    with served(sqlite_url) as at:
        with monkeypatch.context() as hurried:
            hurried.setattr(slow_requests, "WITHIN", 0.3)
            for begun in BEGUN:
                with connected(at) as phone:
                    phone.sendall(begun)
                    assert phone.recv(1) == b"", begun
        assert ready(at) == 200  # with all the time that a busy machine may take


def test_a_phone_that_goes_in_the_middle_of_a_form_is_no_fault_of_ours(sqlite_url: str, heard: Heard) -> None:
    with served(sqlite_url) as at:
        with connected(at) as phone:
            phone.sendall(BEGUN[-1])
        said = heard.records.get(timeout=PATIENCE)
        assert ready(at) == 200
        after = heard.records.get(timeout=PATIENCE)
    assert [vars(record)["facts"]["route"] for record in (said, after)] == ["/join", "/healthz"]
    assert vars(said)["facts"]["status"] == 400
    assert heard.records.empty()


@pytest.mark.parametrize("header", [b"X-Long: " + b"a" * HEAD_MOST * 20, b"X-Many: a\r\n" * HEAD_MOST])
def test_a_head_that_never_ends_is_refused(sqlite_url: str, header: bytes) -> None:
    with served(sqlite_url) as at, connected(at) as phone:
        phone.sendall(b"GET /healthz HTTP/1.1\r\nHost: localhost\r\n")
        for start in range(0, len(header), 10_000):
            try:
                phone.sendall(header[start : start + 10_000])
            except OSError:  # it was refused before all was sent
                break
        else:
            assert phone.recv(100).startswith(b"HTTP/1.1 400 ")
        assert ready(at) == 200


def test_a_long_body_in_one_piece_with_its_head_is_no_long_head(sqlite_url: str) -> None:
    body = b"pass=" + b"A" * HEAD_MOST * 3
    with served(sqlite_url) as at, connected(at) as phone:
        phone.sendall(
            b"POST /join HTTP/1.1\r\nHost: localhost\r\nSec-Fetch-Site: same-origin\r\nContent-Length: %d\r\n"
            b"Content-Type: application/x-www-form-urlencoded\r\n\r\n" % len(body) + body
        )
        assert not phone.recv(100).startswith(b"HTTP/1.1 400 ")
