"""Hanging up on whoever does not get a request across: phones that walked out of the Wi-Fi in the middle of one, and
sockets that browsers open ahead and never use. The server itself waits for them for ever, and takes only so many
connections; after a long evening of bad signal nobody would come through any more.
"""

import asyncio
from asyncio import TimerHandle

from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol

WITHIN = 120.0
"""Seconds from a connection or a request's first byte to its last: a full photo at 50 kB a second comes through."""
HEAD_MOST = 64_000
"""Bytes of a request's head, about: browsers send some hundreds."""


class SlowRequestProtocol(HttpToolsProtocol):
    """One connection, whose requests have to come within a time and with a head of some size."""

    _deadline: TimerHandle | None = None
    _in_head = True
    _head = 0

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Wait for the first request."""
        super().connection_made(transport)
        self._wait()

    def connection_lost(self, exc: Exception | None) -> None:
        """Wait no longer."""
        self._wait_no_longer()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Take more of a request. Its head is counted once it is read: the same piece may hold a body."""
        super().data_received(data)
        if self._in_head:
            self._head += len(data)
            if self._head > HEAD_MOST and not self.transport.is_closing():
                self.send_400_response("The head of this request is too long.")

    def on_message_begin(self) -> None:
        """A request begins."""
        super().on_message_begin()
        self._in_head, self._head = True, 0
        self._wait()

    def on_headers_complete(self) -> None:
        """Its head is here."""
        self._in_head = False
        super().on_headers_complete()

    def on_message_complete(self) -> None:
        """All of it is here."""
        self._wait_no_longer()
        super().on_message_complete()

    def _wait(self) -> None:
        self._wait_no_longer()
        self._deadline = self.loop.call_later(WITHIN, self.transport.close)

    def _wait_no_longer(self) -> None:
        if self._deadline is not None:
            self._deadline.cancel()
            self._deadline = None
