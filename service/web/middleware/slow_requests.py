"""Closing connections whose request does not arrive in time: from phones that left the Wi-Fi in the middle of one, and
sockets that browsers open in advance and never use. The server itself waits for them forever and accepts a limited
number of connections, so after a long evening of bad signal it would accept no more.
"""

import asyncio
from asyncio import TimerHandle

from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol

WITHIN = 120.0
"""Seconds in which a request must arrive, from the connection or its first byte: a full photo does at 50 kB a
second.
"""
HEAD_MOST = 64_000
"""About the most bytes of a request's head: browsers send some hundreds."""


class SlowRequestProtocol(HttpToolsProtocol):
    """One connection. Each request has to arrive within a time, and its head must not be too large."""

    _deadline: TimerHandle | None = None
    _in_head = True
    _head = 0

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Start the timer for the first request."""
        super().connection_made(transport)
        self._wait()

    def connection_lost(self, exc: Exception | None) -> None:
        """Stop the timer."""
        self._wait_no_longer()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Receive a piece of a request. The head is measured when it is complete, since a piece may also have a
        body.
        """
        super().data_received(data)
        if self._in_head:
            self._head += len(data)
            if self._head > HEAD_MOST and not self.transport.is_closing():
                self.send_400_response("The head of this request is too long.")

    def on_message_begin(self) -> None:
        """Start the timer for a request."""
        super().on_message_begin()
        self._in_head, self._head = True, 0
        self._wait()

    def on_headers_complete(self) -> None:
        """Note that the head is complete."""
        self._in_head = False
        super().on_headers_complete()

    def on_message_complete(self) -> None:
        """Stop the timer: the request is complete."""
        self._wait_no_longer()
        super().on_message_complete()

    def _wait(self) -> None:
        self._wait_no_longer()
        self._deadline = self.loop.call_later(WITHIN, self.transport.close)

    def _wait_no_longer(self) -> None:
        if self._deadline is not None:
            self._deadline.cancel()
            self._deadline = None
