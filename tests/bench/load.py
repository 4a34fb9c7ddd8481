"""Clients on threads with keep-alive: plain sockets, so that the client takes as little of the machine as it can."""

import re
import socket
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass

THREADS = 16
LENGTH = re.compile(rb"\r\ncontent-length: (\d+)\r\n", re.IGNORECASE)


@dataclass(frozen=True)
class Rate:
    """What a path did: requests a second, and the time of the median and of the slowest hundredth in milliseconds."""

    count: int
    per_second: float
    p50_ms: float
    p99_ms: float


def measure(
    port: int,
    requests: Callable[[], Iterator[bytes]],
    status: int,
    seconds: float,
    most: int,
    clients: int = THREADS,
) -> Rate:
    """Send each thread's requests one after the other, until the time or `most` requests are used up.

    Raises:
        RuntimeError: an answer had another status than `status`.
    """
    took: list[float] = []
    failed: list[str] = []
    begun = time.perf_counter()

    def client() -> None:
        with socket.create_connection(("127.0.0.1", port)) as connection:
            connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            for request in requests():
                if failed or len(took) >= most or time.perf_counter() - begun > seconds:
                    return
                sent = time.perf_counter()
                connection.sendall(request)
                answer = read(connection)
                took.append(time.perf_counter() - sent)
                if answer[9:12] != str(status).encode():
                    failed.append(answer[:400].decode(errors="replace"))

    threads = [threading.Thread(target=client) for _ in range(clients)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    lasted = time.perf_counter() - begun
    if failed or not took:
        raise RuntimeError(f"expected {status}, got: {failed[0] if failed else 'no answer'}")
    took.sort()
    return Rate(len(took), len(took) / lasted, 1000 * took[len(took) // 2], 1000 * took[len(took) * 99 // 100])


def request(method: str, path: str, token: str | None = None, body: bytes = b"") -> bytes:
    """One HTTP/1.1 request as bytes."""
    lines = [f"{method} {path} HTTP/1.1", "Host: 127.0.0.1", f"Content-Length: {len(body)}"]
    lines += [f"Authorization: Bearer {token}"] if token else []
    lines += ["Content-Type: application/json"] if body else []
    return ("\r\n".join(lines) + "\r\n\r\n").encode() + body


def read(connection: socket.socket) -> bytes:
    """One answer, whole."""
    answer = _more(connection)
    while b"\r\n\r\n" not in answer:
        answer += _more(connection)
    head = answer.index(b"\r\n\r\n") + 4
    length = LENGTH.search(answer[:head])
    if length is None:
        raise RuntimeError(f"an answer without a length: {answer[:200]!r}")
    while len(answer) < head + int(length[1]):
        answer += _more(connection)
    return answer


def _more(connection: socket.socket) -> bytes:
    came = connection.recv(65536)
    if not came:
        raise RuntimeError("the service hung up in the middle of an answer")
    return came
