"""A whole crew opens its pages at once, each phone over as many connections as a browser takes."""

import resource
import socket
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager

from tests.crash.service import prepared, running
from tests.support.waiting import PATIENCE

PHONES, EACH = 60, 6
ASKED = b"GET /static/look/shapes.svg HTTP/1.1\r\nHost: localhost\r\n\r\n"


@contextmanager
def few_files() -> Iterator[None]:
    """As few open files as some systems give a terminal, for what is started meanwhile."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (256, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))


def test_sixty_phones_open_a_page_at_once(sqlite_url: str) -> None:
    with ExitStack() as open_now:
        with few_files():
            service = open_now.enter_context(running(prepared(sqlite_url)))
        sockets = [
            open_now.enter_context(socket.create_connection(("127.0.0.1", service.port), timeout=PATIENCE))
            for _ in range(PHONES * EACH)
        ]
        for one in sockets:
            one.sendall(ASKED)
        assert {one.recv(12) for one in sockets} == {b"HTTP/1.1 200"}
