"""The context of a request: who sends it, and a session to read or write with.

A route names its role by the type of its context (`LeadContext`, `CrewContext`, `ViewerContext`, `AnyoneContext`); the
tests walk the routes and read it there. The session is opened in the route, so that nothing is held longer than it
is used, and a write is committed before its answer is made.
"""

from collections.abc import Callable, Coroutine, Iterator
from contextlib import contextmanager
from datetime import date, datetime
from functools import cached_property
from typing import Annotated, Any, TypeVar
from uuid import UUID
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Depends, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlalchemy.orm import Session
from starlette.exceptions import HTTPException

from service.crew import queries
from service.crew.core import Actor, ProgramFacts, Role, Who, fingerprint
from service.crew.hashing import HashingQueue
from service.kit.dates import local_date
from service.kit.problems import Conflict, HandedOver, Invalid, NotAllowed, Problem, SignInNeeded
from service.settings import Settings
from service.store.drafts import PreparedWork, carried_over
from service.store.receipts import AlreadyExists, WriteRequest, is_done, once
from service.store.sessions import Preparation, Store, retry_on_conflict
from service.web.forms import Form
from service.web.limits import WRITES, Limit, Limiter, network
from service.web.middleware.request_log import HERE
from service.web.middleware.security import bearer_token, refuse_half_characters
from service.web.problems import RESPONSES
from service.web.render import render
from service.web.routes import DeferredRoute

T = TypeVar("T")
F = TypeVar("F", bound=Form)

COOKIE = "coilbook"
API = "/api/v1"
PERSON = "coilbook-person"
"""The header by which a phone says whose entry it sends: on a shared phone somebody else may be signed in by now."""


class RequestContext:
    """The context of one request, for people whose role includes `role`: who, now, zone, today, and the database."""

    def __init__(self, request: Request, role: Role) -> None:
        self.request = request
        self.role = role
        self.who: Who | None = None
        self._wrote = False

    @property
    def settings(self) -> Settings:
        """The service's settings."""
        settings: Settings = self.request.app.state.settings
        return settings

    @property
    def base(self) -> str:
        """The base URL of the service's links: the configured one, else that of this request."""
        return self.settings.base_url or f"{self.request.url.scheme}://{self.request.headers['host']}"

    @cached_property
    def now(self) -> datetime:
        """The time of this request, the same for every call."""
        now: datetime = self.request.app.state.clock()
        return now

    @property
    def arrived_at(self) -> datetime:
        """When the head of this request arrived; its body may have taken longer."""
        arrived_at: datetime = self.request.scope.get(HERE, self.now)
        return arrived_at

    @property
    def program(self) -> ProgramFacts:
        """The program's settings, once a session was opened."""
        program: ProgramFacts = self.request.state.program
        return program

    @property
    def zone(self) -> ZoneInfo:
        """The program's time zone."""
        return ZoneInfo(self.program.zone)

    @property
    def today(self) -> date:
        """Today in the program's zone."""
        return local_date(self.now, self.zone)

    @property
    def me(self) -> Who:
        """Who is signed in, on routes that need somebody."""
        if self.who is None:
            raise SignInNeeded("Sign in, or join with your crew pass, to go on.")
        return self.who

    @property
    def actor(self) -> Actor:
        """Who sends the request, and when: the argument of actions that write."""
        return Actor(self.me, self.now, self.zone)

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """A session for reading, after the role was checked."""
        with self.store.reading() as db:
            self.identify(db)
            yield db

    async def at_once(self, look_up: Callable[[], T]) -> T:
        """Look up a few rows. On SQLite it runs on the event loop: a worker thread would take longer than the look-up
        itself. Not for lists, reports or writes.
        """
        if self.store.reads_without_waiting:
            return look_up()
        return await run_in_threadpool(look_up)

    @contextmanager
    def writing(self, prepare: Preparation | None = None) -> Iterator[Session]:
        """A write transaction, for writes that need no receipt: done twice they come to the same, or it shows at once
        (signing in and out, passes, people, one's own page, settings, the calendar's address). `prepare`: as of
        `Store`.
        """
        self.check_rate()
        with self.store.writing(prepare) as db:
            self.identify(db)
            yield db

    def once(
        self,
        op: UUID,
        action: str,
        content: Any,
        do: Callable[[Session], Any],
        there: Callable[[Session], Any] | None = None,
    ) -> Any:
        """Do a write once under the client's id and return its answer, committed; a retry returns the same answer.

        Whoever sends it again gets that answer if their role reaches this route: what was done is done by whoever
        sent it first.

        Args:
            there: the answer where what it would make is there without a receipt; None where that is another entry.
        """
        request = WriteRequest(op, action, content, self.now)

        def write() -> Any:
            with self.writing() as db:
                return once(db, request, lambda: queries.everybody(db), lambda: do(db))

        try:
            return retry_on_conflict(write)
        except AlreadyExists:
            with self.reading() as db:
                answer = there(db) if there else None
            if answer is None:
                raise
            return answer

    def once_worked_out(
        self,
        op: UUID,
        action: str,
        content: Any,
        work_out: Callable[[], PreparedWork[Any]],
        answer: Callable[[Any], Any],
    ) -> Any:
        """The same as `once`, of a write that takes long: `work_out` does so before the write transaction, in which it
        is then carried over. What was done before is not worked out again. `answer` makes the answer of what was done.
        """
        with self.reading() as db:
            done = is_done(db, op)

        def write_anew() -> Any:
            request = WriteRequest(op, action, content, self.now)
            if done:
                with self.writing() as db:
                    return once(db, request, lambda: queries.everybody(db), lambda: None)
            work = work_out()

            def write() -> Any:
                with self.writing(work.prepare) as db:
                    return once(db, request, lambda: queries.everybody(db), lambda: answer(work.carry_over(db)))

            return carried_over(work, write)

        return retry_on_conflict(write_anew)

    def submit(
        self,
        form: F,
        write: Callable[[], str | Response],
        again: Callable[[Session, F], Response],
        *,
        conflict: str | None = None,
    ) -> Response:
        """Do the write of a form and redirect; if its input is refused, show the form again with the errors.

        Args:
            write: reads the form and writes, mostly by `once`; gives the address to go on to, or a page to show.
            again: the page with the form, in a session to read with.
            conflict: the field beside which a conflict is shown too; without it, a conflict is a page of its own.
        """
        caught = Invalid if conflict is None else (Invalid, Conflict)
        try:
            done = write()
        except caught as refusal:
            with self.reading() as db:
                return again(db, form.refused(refusal, conflict or ""))
        return RedirectResponse(done, 303) if isinstance(done, str) else done

    def page(
        self, template: str, /, status: int | None = None, *, form: Form | None = None, **context: Any
    ) -> HTMLResponse:
        """A rendered page; one with a form has the form's status, unless another is given."""
        if form is not None:
            context["form"] = form
        return render(self.request, template, status or (form.status if form else 200), **context)

    def check_rate(self) -> None:
        """Count this request among the writes of its sign-in; once, however often it is written.

        Raises:
            TooFast: this one was too many.
        """
        if self.token and not self._wrote:
            self.pace(WRITES, self.session)
        self._wrote = True

    def pace(self, limit: Limit, key: str) -> None:
        """Count one more of what is limited.

        Raises:
            TooFast: there is no room for it now.
        """
        if self._limiter is not None:
            self._limiter.take(limit, key, self.now)

    @contextmanager
    def counting(self, limit: Limit, wrong: type[Problem]) -> Iterator[None]:
        """Count blocks that end with the error `wrong`, by person or else by network.

        Raises:
            TooFast: in place of `wrong`, where there were too many.
        """
        try:
            yield
        except wrong:
            self.pace(limit, str(self.who.id) if self.who else self.network)
            raise

    @property
    def hashing(self) -> HashingQueue:
        """Where passphrases are hashed."""
        hashing: HashingQueue = self.request.app.state.hashing
        return hashing

    @property
    def device(self) -> str:
        """The token of a device on which a lead signed in before; empty where it brought none."""
        return self.request.cookies.get(device_cookie_name(self.settings.secure), "")

    @property
    def network(self) -> str:
        """Where the request came from, as far as limits tell networks apart."""
        client = self.request.client
        return network(client.host) if client else ""

    @cached_property
    def session(self) -> str:
        """The sign-in that the request came with, as a fingerprint."""
        return fingerprint(self.token)

    @cached_property
    def token(self) -> str:
        """The token that came with the request, empty where none did; a bearer token goes before the cookie."""
        bearer = bearer_token(self.request.headers)
        if bearer is not None:
            return bearer
        return self.request.cookies.get(cookie_name(self.settings.secure), "")

    @property
    def store(self) -> Store:
        """The database."""
        store: Store = self.request.app.state.store
        return store

    @property
    def _limiter(self) -> Limiter | None:
        limiter: Limiter | None = self.request.app.state.limiter
        return limiter

    def identify(self, db: Session) -> None:
        """Look up who sends the request, and check their role.

        Raises:
            SignInNeeded, NotAllowed: nobody that counts, or somebody else.
        """
        state = self.request.state
        if self.token:
            state.program, self.who = queries.find_requester(db, self.session, self.now)
        else:
            state.program, self.who = queries.program_facts(db), None
        state.who = self.who
        if self.who is None and self.role is not Role.STRANGER:
            self.refuse_handed_over(db)
            raise SignInNeeded("Sign in, or join with your crew pass, to go on.")
        if self.who is not None and not self.who.role.reaches(self.role):
            raise NotAllowed(f"This is for a {self.role}; you are here as {self.who.role}. Ask your lead.")
        meant = self.request.headers.get(PERSON)
        if self.who is not None and meant is not None and meant != str(self.who.id):
            raise SignInNeeded("Somebody else kept this on the phone. Sign in as them to send it.")

    def check_requester(self) -> None:
        """Look up who sends the request in a session of its own.

        Raises:
            SignInNeeded, NotAllowed: nobody that counts, or somebody else.
        """
        with self.reading():
            pass

    def refuse_handed_over(self, db: Session) -> None:
        """Refuse a lead who handed the program over, with a sentence that says so.

        Raises:
            HandedOver: the request came with the sign-in of such a one.
        """
        heir = queries.handed_over_to(db, self.session) if self.token else None
        if heir is not None:
            raise HandedOver(
                f"You handed the program over to {heir}, and your access ended with that. What you logged stays, with "
                f"your name beside it. If you still help, ask {heir} for a crew pass."
            )


def cookie_name(secure: bool) -> str:
    """The cookie's name: with HTTPS it is bound to this host and path by its prefix."""
    return f"__Host-{COOKIE}" if secure else COOKIE


def device_cookie_name(secure: bool) -> str:
    """The name of the cookie by which a device is known again after signing out."""
    return f"{cookie_name(secure)}-device"


class At:
    """The dependency behind a context's type; `role` is what the tests read."""

    def __init__(self, role: Role) -> None:
        self.role = role

    async def __call__(self, request: Request) -> RequestContext:
        """The context of this request. `async`, so that it costs no trip to a worker thread."""
        return RequestContext(request, self.role)


AnyoneContext = Annotated[RequestContext, Depends(At(Role.STRANGER))]
ViewerContext = Annotated[RequestContext, Depends(At(Role.VIEWER))]
CrewContext = Annotated[RequestContext, Depends(At(Role.CREW))]
LeadContext = Annotated[RequestContext, Depends(At(Role.LEAD))]


class _ApiRoute(DeferredRoute):
    """A route that refuses in one order: 401 to whom it does not know, 403 to whose role does not reach, then the rest,
    be it said by us or by the framework (400: a body that is no JSON at all).

    The framework reads and checks a body before the route is asked, so only what it refuses is looked at once more.
    """

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        handle = super().get_route_handler()
        [role] = [each.call.role for each in self.dependant.dependencies if isinstance(each.call, At)]

        async def handle_known(request: Request) -> Response:
            try:
                return await handle(request)
            except (RequestValidationError, HTTPException, Problem):
                await run_in_threadpool(RequestContext(request, role).check_requester)
                raise

        return handle_known


def page_router() -> APIRouter:
    """A router for pages, which the description of the API leaves out."""
    return APIRouter(include_in_schema=False, route_class=DeferredRoute)


def api_router(path: str = "", tag: str | None = None) -> APIRouter:
    """A router for what lies below `/api/v1` and `path`; every route of it names a role by its context."""
    options: dict[str, Any] = {"dependencies": [Depends(refuse_half_characters)], "responses": RESPONSES}
    return APIRouter(prefix=f"{API}{path}", tags=[tag] if tag else None, route_class=_ApiRoute, **options)
