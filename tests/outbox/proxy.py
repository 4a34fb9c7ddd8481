"""A bad line between a phone and the service: a real server that passes requests on, or answers as it is told.

What is told concerns tests that are sent (`POST /api/v1/tests`), one instruction each, in order; then all is well.
`stumbles` are the ids of tests at each of which the service fails, whenever and however often they are sent.
`stop` and `start` are the service going away and coming back at the same address; `altered` answers are those of a
newer service, by their path; `away` is what a gateway says in the service's place.
"""

import contextlib
import http.client
import socket
import threading
from collections.abc import Callable
from dataclasses import dataclass
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from tests.support.waiting import PATIENCE

PASS = "pass"
CUT_BEFORE = "cut before"
"""The request never arrives."""
CUT_AFTER = "cut after"
"""It arrives and is done, and the answer is lost."""
TORN = "torn"
"""It arrives and is done, and half of the answer comes back."""
HOP = {"connection", "keep-alive", "transfer-encoding", "content-length", "date", "server"}


@dataclass(frozen=True)
class Answer:
    """An answer that the service never gave."""

    status: int
    body: bytes = b'{"detail": "Said so by the test."}'
    headers: tuple[tuple[str, str], ...] = ()


Told = str | Answer


class Proxy:
    """The line; `base` is its address, `seen` how many tests were sent down it."""

    def __init__(self, upstream: str) -> None:
        self.upstream = upstream.removeprefix("http://")
        self.told: list[Told] = []
        self.stumbles: set[str] = set()
        self.seen = 0
        self.away: Answer | None = None
        self.altered: dict[str, Callable[[bytes], bytes]] = {}
        self.lock = threading.Lock()
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.base = f"http://127.0.0.1:{self.port}"
        self.server: Any = None
        self.start()

    def start(self) -> None:
        """Be there."""
        self.server = _Server(("127.0.0.1", self.port), _Handler)
        self.server.proxy = self
        self.thread = threading.Thread(target=self.server.serve_forever, kwargs={"poll_interval": 0.02})
        self.thread.start()

    def stop(self) -> None:
        """Be gone: whoever connects is refused."""
        if self.server is not None:
            self.server.shutdown()
            self.server.cut_all()
            self.server.server_close()
            self.thread.join()
            self.server = None

    def tell(self, *told: Told) -> None:
        """What happens to the next tests that are sent."""
        with self.lock:
            self.told.extend(told)

    def next_told(self, body: bytes) -> Told:
        """What happens to this one."""
        with self.lock:
            self.seen += 1
            if any(test.encode() in body for test in self.stumbles):
                return Answer(500)
            return self.told.pop(0) if self.told else PASS


class _Server(ThreadingHTTPServer):
    daemon_threads = True
    allow_reuse_address = True
    proxy: Proxy

    def __init__(self, *args: Any) -> None:
        self.open: set[socket.socket] = set()
        super().__init__(*args)

    def process_request(self, request: Any, client_address: Any) -> None:
        self.open.add(request)
        super().process_request(request, client_address)

    def shutdown_request(self, request: Any) -> None:
        self.open.discard(request)
        super().shutdown_request(request)

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A browser that hangs up is what these tests are about."""

    def cut_all(self) -> None:
        for connection in list(self.open):
            with contextlib.suppress(OSError):
                connection.shutdown(socket.SHUT_RDWR)


class _Handler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    server: _Server

    def _do(self) -> None:
        body = self.rfile.read(int(self.headers.get("content-length") or 0))
        if self.server.proxy.away is not None:
            self._answer(self.server.proxy.away.status, [("Content-Type", "text/html")], self.server.proxy.away.body)
            return
        is_test = self.command == "POST" and self.path == "/api/v1/tests"
        told = self.server.proxy.next_told(body) if is_test else PASS
        if told == CUT_BEFORE:
            self._cut()
        elif isinstance(told, Answer):
            self._answer(told.status, [("Content-Type", "application/json"), *told.headers], told.body)
        else:
            status, headers, answer = self._forward(body)
            answer = self.server.proxy.altered.get(self.path, bytes)(answer)
            if told == CUT_AFTER:
                self._cut()
            elif told == TORN:
                self._answer(status, headers, answer, torn=True)
            else:
                self._answer(status, headers, answer)

    do_GET = do_POST = do_HEAD = _do  # noqa: N815 (named by the library)

    def _forward(self, body: bytes) -> tuple[int, list[tuple[str, str]], bytes]:
        line = http.client.HTTPConnection(self.server.proxy.upstream, timeout=PATIENCE)
        try:
            headers = dict(self.headers.items())
            if self.path in self.server.proxy.altered:
                headers["Accept-Encoding"] = "identity"  # so that what it says can be altered
            line.request(self.command, self.path, body, headers)
            answer = line.getresponse()
            return answer.status, answer.getheaders(), answer.read()
        finally:
            line.close()

    def _answer(self, status: int, headers: list[tuple[str, str]], body: bytes, *, torn: bool = False) -> None:
        self.send_response(status)
        for name, value in headers:
            if name.lower() not in HOP:
                self.send_header(name, value)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body[: len(body) // 2] if torn else body)
        if torn:
            self._cut()

    def _cut(self) -> None:
        self.wfile.flush()
        self.close_connection = True
        self.connection.shutdown(socket.SHUT_RDWR)

    def log_message(self, format: str, *args: Any) -> None:  # noqa: A002 (named by the library)
        """Say nothing."""
