"""The service made wrong on purpose, so that the crash tests have something to catch.

`python -m tests.crash.variants NAME serve …`

| name | what is wrong |
|---|---|
| late | commits in a dependency after its `yield`, as the framework's default has it: after the answer has left |
| later | the same on a slow disk: so late that every kill catches one |
| forgetful | takes every request for a new one: ids are not unique any more |
| unsynced | commits without waiting for the disk |
"""

import json
import sys
import time
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import ExitStack, contextmanager
from contextvars import ContextVar
from functools import partial
from uuid import uuid4

from anyio import CapacityLimiter, to_thread
from fastapi import Depends, FastAPI
from sqlalchemy.orm import Session
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service import app, serving
from service.__main__ import main
from service.store import engine
from service.store.sessions import Store

SLOW = 0.03
_ENDS: ContextVar[list[Callable[[], None]] | None] = ContextVar("ends", default=None)


async def after_the_answer() -> AsyncIterator[None]:
    """A dependency at default scope: what follows its `yield` comes when the answer has been sent."""
    ends: list[Callable[[], None]] = []
    _ENDS.set(ends)
    yield
    for end in ends:
        await to_thread.run_sync(end, limiter=CapacityLimiter(1))  # not of the threads that wait for this one


def late(seconds: float = 0.0) -> None:
    """Leave commits of requests to `after_the_answer`."""
    writing = Store.writing

    @contextmanager
    def left_open(self: Store) -> Iterator[Session]:
        ends = _ENDS.get()
        stack = ExitStack()
        db = stack.enter_context(writing(self))
        if ends is not None:
            stack.callback(time.sleep, seconds)
        try:
            yield db
        except BaseException:
            if not stack.__exit__(*sys.exc_info()):
                raise
        else:
            stack.close() if ends is None else ends.append(stack.close)

    Store.writing = left_open  # type: ignore[method-assign]
    app.THREADS = 40  # an open write holds up others, and the framework needs a thread to make its answer
    app.FastAPI = partial(FastAPI, dependencies=[Depends(after_the_answer)])  # type: ignore[misc, assignment]


class FreshIds:
    """Gives every entry a new id before anybody sees it."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Change the body of what is posted."""
        if scope["type"] != "http" or scope["method"] != "POST":
            await self.app(scope, receive, send)
            return
        body = b""
        while True:
            message = await receive()
            body += message.get("body", b"")
            if not message.get("more_body"):
                break
        told = json.loads(body) | {"id": str(uuid4())} if body else {}
        changed = json.dumps(told).encode()
        headers = [(name, value) for name, value in scope["headers"] if name != b"content-length"]
        headers.append((b"content-length", str(len(changed)).encode()))

        async def again() -> Message:
            return {"type": "http.request", "body": changed, "more_body": False}

        await self.app(scope | {"headers": headers}, again, send)


def forgetful() -> None:
    """Make each request a new one."""
    make = serving.create_app

    def forgetting(*args: object, **named: object) -> FastAPI:
        made = make(*args, **named)  # type: ignore[arg-type]
        made.add_middleware(FreshIds)
        return made

    serving.create_app = forgetting


def unsynced() -> None:
    """Let commits go without the disk."""
    engine._PRAGMAS = tuple(
        pragma.replace("synchronous=FULL", "synchronous=OFF") for pragma in engine._PRAGMAS
    )


VARIANTS: dict[str, Callable[[], None]] = {
    "late": late, "later": partial(late, SLOW), "forgetful": forgetful, "unsynced": unsynced
}  # fmt: skip

if __name__ == "__main__":
    VARIANTS[sys.argv[1]]()
    sys.exit(main(sys.argv[2:]))
