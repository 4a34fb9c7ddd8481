"""The service made wrong on purpose, so that the crash tests have something to catch.

`python -m tests.crash.variants NAME serve …`

| name | what is wrong |
|---|---|
| late | commits in a thread of its own, after the answer has left |
| later | the same on a slow disk: so late that every kill catches one |
| forgetful | takes every request for a new one: ids are not unique any more |
| unsynced | commits without waiting for the disk |
| endless | has housekeeping that never ends |
"""

import json
import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from datetime import date
from functools import partial
from threading import Event, Timer
from uuid import uuid4

from fastapi import FastAPI
from sqlalchemy.orm import Session
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service import clock, serving
from service.__main__ import main
from service.app import create_app
from service.store import engine
from service.store.sessions import Preparation, Store
from service.testlog.housekeeping import Chore, Step

SLOW = 0.03


def late(seconds: float = 0.005) -> None:
    """Leave each commit to a thread of its own, and answer meanwhile."""
    writing = Store.writing

    @contextmanager
    def left_open(self: Store, prepare: Preparation | None = None) -> Iterator[Session]:
        stack = ExitStack()
        db = stack.enter_context(writing(self, prepare))
        try:
            yield db
        except BaseException:
            if not stack.__exit__(*sys.exc_info()):
                raise
        else:
            Timer(seconds, stack.close).start()

    Store.writing = left_open  # type: ignore[method-assign]


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

        await self.app({**scope, "headers": headers}, again, send)


def forgetful() -> None:
    """Make each request a new one."""
    make = create_app

    def forgetting(*args: object, **named: object) -> FastAPI:
        made = make(*args, **named)  # type: ignore[arg-type]
        made.add_middleware(FreshIds)
        return made

    serving.create_app = forgetting  # type: ignore[attr-defined]


def unsynced() -> None:
    """Let commits go without the disk."""
    loose = [pragma.replace("synchronous=FULL", "synchronous=OFF") for pragma in engine._PRAGMAS]
    engine._PRAGMAS = tuple(loose)  # type: ignore[assignment]


def endless() -> None:
    """Let the clock begin a chore that reckons and reckons."""

    def steps(_store: Store, _today: date) -> Iterator[Step]:
        Event().wait()
        yield from ()

    clock.CHORES = (Chore("endless things done", steps),)  # type: ignore[assignment, attr-defined]


VARIANTS: dict[str, Callable[[], None]] = {
    "late": late,
    "later": partial(late, SLOW),
    "forgetful": forgetful,
    "unsynced": unsynced,
    "endless": endless,
}

if __name__ == "__main__":
    VARIANTS[sys.argv[1]]()
    sys.exit(main(sys.argv[2:]))
