"""A truck to test at: a session over a few cables, behind a line that fails as it is told, and phones in its hands."""

import re
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID, uuid4

from playwright.sync_api import BrowserContext, Error, Page, expect
from sqlalchemy import select

from service.crew import actions
from service.crew.core import Role
from service.gear.actions import NewItem, add_items
from service.sessions.actions import NewSession, Why, open_session
from service.sessions.queries import worklist
from service.store.sessions import Store
from service.tags.actions import issue
from service.testlog.models import Test
from tests.outbox.proxy import Answer, Proxy
from tests.support.serving import Served, served
from tests.support.waiting import PATIENCE

ENTRIES = """async () => {
  const script = document.querySelector('script[src*="/outbox/page.js"], script[src*="/offline/shell.js"]');
  return script && { held: await (await import(new URL('../outbox/page.js', script.src))).outbox_store.entries() };
}"""


@dataclass
class Truck:
    """The service, the line to it, and a session with its codes in walking order."""

    service: Served
    line: Proxy
    session: UUID
    codes: list[str]

    @property
    def base(self) -> str:
        return self.line.base

    @property
    def store(self) -> Store:
        return self.service.store

    def logged(self) -> list[UUID]:
        """The ids of all tests in the log."""
        with self.store.reading() as db:
            return list(db.scalars(select(Test.id)))

    def tests(self) -> list[Test]:
        """All tests in the log."""
        with self.store.reading() as db:
            return list(db.scalars(select(Test).order_by(Test.tested_at)))

    @contextmanager
    def no_signal(self) -> Iterator[None]:
        """Cut the line: whoever connects is refused.

        A browser that is told to have no network would not do where a service worker asks: it stops one that has
        nothing to do, and one started anew hears of it too late, or hears of its end never (Chromium 150: the first
        request went through 15 times of 40).
        """
        self.line.stop()
        try:
            yield
        finally:
            self.line.start()

    @contextmanager
    def gateway_alone(self) -> Iterator[None]:
        """Let a gateway answer in the service's place."""
        self.line.away = Answer(502, b"<h1>Bad gateway</h1>")
        try:
            yield
        finally:
            self.line.away = None

    def form(self, at: int = 0) -> str:
        """The address of an item's form in the session."""
        return f"{self.base}/t/{self.codes[at]}/test?session={self.session}"

    def joined(self, context: BrowserContext, name: str = "Mira", role: Role = Role.CREW) -> Page:
        """A phone that joined with a pass."""
        with self.store.writing() as db:
            secret = actions.make_pass(db, role, "crew", None, datetime.now(UTC)).secret
        page = context.new_page()
        page.goto(f"{self.base}/join#{secret}")
        page.get_by_label("Your name here").fill(name)
        page.get_by_role("button", name="Join").click()
        expect(page.locator(".me")).to_contain_text(name)
        return page


@contextmanager
def truck(url: str, *wirings: str) -> Iterator[Truck]:
    """A service with an item of each wiring, all on the worklist of one session."""
    with served(url) as service:
        now = datetime.now(UTC)
        with service.store.writing() as db:
            ids = [uuid4() for _ in wirings]
            for item_id, wiring in zip(ids, wirings, strict=True):
                kind = "cable" if wiring.startswith(("xlr3", "trs")) else "hub" if "-to-" in wiring else "trunk"
                add_items(
                    db,
                    NewItem(kind, wiring, 0 if kind == "hub" else 3048),
                    [item_id],
                    None,
                    now,
                    now.date() - timedelta(days=9),
                )
            codes = dict(zip(ids, issue(db, ids, now), strict=True))
            session = uuid4()
            open_session(db, NewSession(session, "Tuesday at the truck", now.date(), tuple(Why)), None, now)
        with service.store.reading() as db:
            order = [codes[line.item.id] for line in worklist(db, session)]
        line = Proxy(service.base)
        try:
            yield Truck(service, line, session, order)
        finally:
            line.stop()


SEND = f"""async () => {{
  const buttons = [...document.querySelectorAll("[data-outbox] button")];
  const button = buttons.find((each) => each.textContent.trim() === "Send now");
  button?.click();
  return Boolean(button) || (await ({ENTRIES})())?.held.length === 0;
}}"""


def entries(page: Page) -> list[dict[str, Any]]:
    """What waits on the phone, from both of its stores.

    A page that shows what was sent opens itself anew. Asked just then, `evaluate` may wait for ever; this asks again.
    """
    try:
        told = page.wait_for_function(ENTRIES).json_value()
    except Error as error:  # the page went on between the two
        if "navigation" not in str(error):
            raise
        told = None
    if told is None:  # as it may be told too
        return entries(page)
    found: list[dict[str, Any]] = told["held"]
    return found


def eventually(holds: Callable[[], bool], seconds: float = PATIENCE) -> None:
    """Ask until it holds; each asking goes through the browser or the service, which take their own time."""
    until = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < until, "it never came to be"


def take_along(at: Truck, page: Page) -> None:
    """Press the button, and wait until all of it is on the phone."""
    page.goto(f"{at.base}/sessions/{at.session}")
    page.get_by_role("button", name="Take it along").click()
    expect(page.locator("[data-told]")).to_contain_text("On this phone, loaded")
    worker_ready(page)


def tables_ready(at: Truck, page: Page, *wirings: str) -> None:
    """Wait until the service has the tables of these wirings at hand."""
    for wiring in wirings:
        eventually(lambda url=f"{at.base}/api/v1/wirings/{wiring}": answers(page, url))  # type: ignore[misc]


def answers(page: Page, url: str) -> bool:
    """Whether a look-up is answered; while a table is made it may not be."""
    try:
        return page.request.get(url).ok
    except Error:
        return False


def worker_ready(page: Page) -> None:
    """Wait until pages of ours can be opened without a signal; fails where that never comes to be."""
    page.wait_for_function("navigator.serviceWorker.ready.then(() => true)")


def bar(page: Page) -> Any:
    """The bar of the outbox."""
    return page.locator("[data-outbox]")


def send_now(page: Page) -> None:
    """Press the button that sends, or find that all went out by itself just now.

    The bar is drawn anew while it sends, so it is pressed in the page: by hand it may be replaced under the finger.
    """
    page.wait_for_function(SEND)


def open_page(page: Page, url: str) -> None:
    """Open a page. One that opens itself anew just then, since it shows what was sent, may get in between."""
    try:
        page.goto(url)
    except Error as error:
        if "ERR_ABORTED" not in str(error):
            raise
        page.goto(url)


def lead_on(page: Page, url: str = "") -> None:
    """Open a page as a link on this one does, or this one anew; an address that is typed leaves, and sends at once."""
    with page.expect_navigation():
        page.evaluate("(url) => { url ? location.assign(url) : location.reload(); }", url)


def press(page: Page, verdict: str) -> None:
    """Say that this is the item, give a verdict, and wait for the page after the form."""
    before = page.url
    page.get_by_role("button", name="This is the one I hold").click()
    page.locator(".actions").get_by_role("button", name=re.compile(f"^{verdict}", re.I)).click()
    page.wait_for_url(lambda url: url != before)
