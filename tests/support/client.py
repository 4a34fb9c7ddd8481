"""A client of the service without a network, for tests."""

from collections.abc import Iterator
from functools import partial
from typing import Any
from urllib.parse import unquote

import anyio
import httpx2
from fastapi.testclient import TestClient


class Client(TestClient):
    """Starlette's client with one switch between threads for each request, where it has seven: that is most of what a
    small request costs. Answers are read whole, which those of the service are made for.
    """

    def __init__(self, app: Any, base_url: str, **options: Any) -> None:
        super().__init__(app, base_url, **options)
        self._transport = _WholeRequests(self, options.get("client", ("testclient", 50_000)))


class _WholeRequests(httpx2.BaseTransport):
    """Runs the application in the client's event loop."""

    def __init__(self, client: Client, peer: tuple[str, int]) -> None:
        self._client, self._peer = client, peer

    def handle_request(self, request: httpx2.Request) -> httpx2.Response:
        url = request.url
        scope = {
            "type": "http",
            "http_version": "1.1",
            "method": request.method,
            "path": unquote(url.path),
            "raw_path": url.raw_path.split(b"?", 1)[0],
            "root_path": "",
            "scheme": url.scheme,
            "query_string": url.query,
            "headers": [(name.lower(), value) for name, value in request.headers.raw],
            "client": self._peer,
            "server": [url.host, url.port or {"http": 80, "https": 443}[url.scheme]],
            "extensions": {},
            "state": self._client.app_state.copy(),
        }
        assert isinstance(request.stream, httpx2.SyncByteStream)
        answering = partial(self._answer, scope, iter(request.stream))
        with self._client._portal_factory() as portal:  # Starlette's own way to the event loop
            status, headers, answer = portal.call(answering)
        return httpx2.Response(status, headers=headers, stream=httpx2.ByteStream(answer), request=request)

    async def _answer(
        self, scope: dict[str, Any], body: Iterator[bytes]
    ) -> tuple[int, list[tuple[bytes, bytes]], bytes]:
        parts, ended, start, is_whole = [], anyio.Event(), dict[str, Any](), False

        async def receive() -> dict[str, Any]:
            nonlocal is_whole
            if is_whole:
                await ended.wait()
                return {"type": "http.disconnect"}
            part = next(body, None)
            is_whole = part is None
            return {"type": "http.request", "body": part or b"", "more_body": not is_whole}

        async def send(message: Any) -> None:
            if message["type"] == "http.response.start":
                start.update(message)
                return
            parts.append(bytes(message.get("body", b"")))
            if not message.get("more_body", False):
                ended.set()

        await self._client.app(scope, receive, send)
        return start["status"], start["headers"], b"".join(parts) if scope["method"] != "HEAD" else b""
