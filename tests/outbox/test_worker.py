"""The service worker: what it keeps, that all works with the service gone, and that an update loses nothing."""

import gzip
import re
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Route, expect

from service.crew.core import Role, Who
from service.crew.models import Person
from service.gear.models import Item
from service.home.offline.pages import precached, shell
from service.tags.models import Tag
from service.testlog.actions import void_test
from service.web.static import imported, module
from tests.outbox.support import Truck, bar, entries, eventually, press, take_along, truck
from tests.support.access import barriers
from tests.support.chromium import FLAGS, chromium_program, phone_in
from tests.support.program import Running

WIRINGS = ("xlr3", "xlr3", "xlr3x4")
PRECACHE = 60_000
SCRIPT = 20_000
browser_test = pytest.mark.browser


def test_the_worker_is_asked_for_anew_and_keeps_little(program: Running) -> None:
    answer = program.stranger.get("/sw.js")
    assert (answer.status_code, answer.headers["cache-control"]) == (200, "no-cache")
    assert answer.headers["content-type"].startswith("text/javascript")
    kept = [program.stranger.get(url) for url in precached()]
    assert {each.status_code for each in kept} == {200}
    assert sum(len(gzip.compress(each.content)) for each in kept) <= PRECACHE
    assert "Fernhollow" not in shell()


def test_scripts_are_small_and_kept_for_good(program: Running) -> None:
    every = {*imported("outbox/page.js"), *imported("offline/testpage.js")}
    answers = [program.stranger.get(url) for url in every]
    assert sum(len(gzip.compress(each.content)) for each in answers) <= SCRIPT
    assert {each.headers["cache-control"] for each in answers} == {"public, max-age=31536000, immutable"}
    older = re.sub("/m-[^/]+/", "/m-0000000000/", module("outbox/page.js"))
    assert program.stranger.get(older).headers["cache-control"] == "no-store"
    assert program.stranger.get(module("outbox/../../service/app.py")).status_code == 404


def test_all_modules_have_one_version() -> None:
    assert len({url.split("/")[2] for url in imported("offline/shell.js")}) == 1
    assert all(re.fullmatch(r"/static/m-[0-9a-f]{10}/\w+/\w+\.js", url) for url in imported("offline/shell.js"))


def test_the_manifest_is_our_own(program: Running) -> None:
    answer = program.stranger.get("/manifest.webmanifest")
    assert answer.headers["content-type"] == "application/manifest+json"
    manifest = answer.json()
    assert (manifest["display"], manifest["start_url"]) == ("standalone", "/")
    assert program.stranger.get(manifest["icons"][0]["src"]).status_code == 200


@pytest.fixture(scope="module")
def gone(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Truck]:
    """A truck with two cables and a multicore, for a phone that took its session along."""
    path = tmp_path_factory.mktemp("gone") / "coilbook.db"
    with truck(f"sqlite:///{path}", *WIRINGS) as made:
        yield made


@pytest.fixture(scope="module")
def taken(gone: Truck, browser: Browser) -> Iterator[Page]:
    """The phone."""
    with phone_in(browser) as context:
        page = gone.joined(context)
        take_along(gone, page)
        yield page


@pytest.fixture
def untested(tmp_path: Path) -> Iterator[Truck]:
    """The same, with nothing tested yet."""
    with truck(f"sqlite:///{tmp_path / 'coilbook.db'}", *WIRINGS) as made:
        yield made


@browser_test
def test_an_evening_without_the_service(untested: Truck, browser: Browser) -> None:
    with phone_in(browser) as context:
        evening_without_the_service(untested, untested.joined(context))


def evening_without_the_service(gone: Truck, page: Page) -> None:
    """Take the session along, test all of it with the service gone, and send it."""
    one, other, multicore = sorted_codes(gone)
    take_along(gone, page)
    with gone.no_signal():
        page.goto(f"{gone.base}/sessions/{gone.session}")
        expect(page.get_by_text("0 of 3 tested")).to_be_visible()
        page.goto(f"{gone.base}/T/{one}")
        expect(page.get_by_text("Never tested.")).to_be_visible()
        page.get_by_role("link", name="Test it").click()
        press(page, "Pass")
        expect(bar(page)).to_contain_text(f"Pass kept for {one[:3]} {one[3:]}.")

        page.goto(f"{gone.base}/t/{other}/test?session={gone.session}")
        page.get_by_text("Mark what was found", exact=True).click()
        page.get_by_role("radiogroup", name="A2").get_by_label("B3").check()
        page.get_by_role("radiogroup", name="A3").get_by_label("B2").check()
        press(page, "Fail")
        expect(bar(page)).to_contain_text("Conductor 2 (hot) and conductor 3 (cold) are swapped.")
        expect(bar(page)).to_contain_text("Do not plug it in.")

        # A multicore is entered lane by lane: only the lane with trouble is shown.
        page.goto(f"{gone.base}/t/{multicore}/test?session={gone.session}")
        page.get_by_text("Mark what was found", exact=True).click()
        assert page.locator("[data-row]:visible").count() == 0
        page.locator("[data-lane='2']").click()
        assert page.locator("[data-row]:visible").count() == 3
        page.locator("[data-row]:visible").first.get_by_label("none").check()
        press(page, "Fail")
        expect(bar(page)).to_contain_text("is open")
        page.goto(f"{gone.base}/sessions/{gone.session}")
        expect(page.get_by_text("3 of 3 tested")).to_be_visible()
        page.goto(f"{gone.base}/offline")
        expect(page.get_by_text("3 of 3 tested")).to_be_visible()

    page.get_by_role("button", name="Send now").click()
    eventually(lambda: entries(page) == [])
    assert sorted(test.verdict for test in gone.tests()) == ["fail", "fail", "pass"]
    page.goto(f"{gone.base}/sessions/{gone.session}")
    expect(page.get_by_text("Take it along again")).to_be_visible()


@browser_test
def test_half_a_package_is_worth_what_it_holds_and_the_rest_comes_later(untested: Truck, browser: Browser) -> None:
    at = untested
    with phone_in(browser) as context:
        page, told = at.joined(context), "[data-told]"
        page.route("**/api/v1/wirings/*", lambda route: route.abort())
        page.goto(f"{at.base}/sessions/{at.session}")
        page.get_by_role("button", name="Take it along").click()
        expect(page.locator(told)).to_contain_text("The list is on this phone; the rest could not be loaded")
        with at.no_signal():
            page.goto(f"{at.base}/sessions/{at.session}")
            expect(page.get_by_text("0 of 3 tested")).to_be_visible()
            page.goto(at.form())
            press(page, "Pass")
            expect(bar(page)).to_contain_text("Pass kept")
        page.unroute("**/api/v1/wirings/*")
        page.goto(f"{at.base}/sessions/{at.session}")  # without a tap, what is missing is loaded
        expect(page.locator(told)).to_contain_text("It works without a signal")
        asked: list[str] = []
        page.on("request", lambda request: asked.append(request.url))
        page.reload()
        expect(page.locator(told)).to_contain_text("It works without a signal")
        assert not [url for url in asked if "/api/v1/wirings/" in url]


@browser_test
@pytest.mark.parametrize(
    "worker", [b"no script {", b"addEventListener('install', (e) => e.waitUntil(Promise.reject()))"]
)
def test_pages_that_could_not_be_loaded_are_told_and_loaded_later(
    bad_line: Truck, browser: Browser, worker: bytes
) -> None:
    at = bad_line
    with phone_in(browser) as context:
        page, told = at.joined(context), "[data-told]"
        at.line.altered["/sw.js"] = lambda _: worker
        page.goto(f"{at.base}/sessions/{at.session}")
        page.get_by_role("button", name="Take it along").click()
        expect(page.locator(told)).to_contain_text("The list is on this phone; the rest could not be loaded")
        at.line.altered.clear()
        page.get_by_role("button", name="Take it along again").click()
        expect(page.locator(told)).to_contain_text("It works without a signal")


@browser_test
def test_a_table_that_is_still_worked_out_is_waited_for_and_told(untested: Truck, browser: Browser) -> None:
    at = untested
    busy = {"status": 503, "headers": {"Retry-After": "2"}, "json": {"detail": "Busy."}}
    times = iter([busy, busy])

    def once_more(route: Route) -> None:
        answer = next(times, None)
        route.fulfill(**answer) if answer else route.continue_()  # type: ignore[arg-type]

    with phone_in(browser) as context:
        page = at.joined(context)
        page.route("**/api/v1/wirings/*", once_more)
        page.goto(f"{at.base}/sessions/{at.session}")
        page.clock.install()
        page.get_by_role("button", name="Take it along").click()
        expect(page.locator("[data-told]")).to_contain_text("Faults are here for 0 of 2 wirings")
        expect(page.get_by_role("progressbar", name="Taken along")).to_be_visible()
        for _ in range(2):
            page.clock.run_for(2000)
        expect(page.locator("[data-told]")).to_contain_text("It works without a signal")
        expect(page.get_by_role("progressbar", name="Taken along")).to_be_hidden()


@browser_test
def test_a_test_that_was_voided_is_open_on_a_worklist_that_was_taken_along_since(
    untested: Truck, browser: Browser
) -> None:
    at = untested
    with phone_in(browser) as context:
        page = at.joined(context)
        take_along(at, page)
        page.goto(at.form())
        press(page, "Pass")
        page.get_by_role("button", name="Send now").click()
        eventually(lambda: entries(page) == [])
        (logged,) = at.tests()
        with at.store.writing() as db:
            who = Who(db.get_one(Person, logged.person_id).id, "Mira", Role.LEAD)
            void_test(db, logged.id, "wrong cable", who, datetime.now(UTC), ZoneInfo("America/New_York"))
        with at.no_signal():
            page.goto(f"{at.base}/sessions/{at.session}")
            expect(page.get_by_text("1 of 3 tested")).to_be_visible()
        take_along(at, page)
        with at.no_signal():
            page.goto(f"{at.base}/sessions/{at.session}")
            expect(page.get_by_text("0 of 3 tested")).to_be_visible()


def sorted_codes(at: Truck) -> tuple[str, str, str]:
    """The two cables, then the multicore."""
    with at.store.reading() as db:
        wirings = {code: db.get_one(Item, db.get_one(Tag, code).item_id).wiring for code in at.codes}
    one, other, multicore = sorted(at.codes, key=lambda code: wirings[code] == "xlr3x4")
    return one, other, multicore


@browser_test
@pytest.mark.parametrize(
    "away",
    [
        pytest.param(Truck.no_signal, id="nothing answers"),
        pytest.param(Truck.gateway_alone, id="a gateway answers for it"),
    ],
)
def test_the_page_opens_however_the_service_is_away(
    gone: Truck, taken: Page, away: Callable[[Truck], AbstractContextManager[None]]
) -> None:
    page, code = taken, gone.codes[0]
    with away(gone):
        page.goto(f"{gone.base}/t/{code}")
        expect(page.get_by_text("There is no signal.")).to_be_visible()
        page.goto(f"{gone.base}/t/222222")
        expect(page.get_by_text("is not among what you took along")).to_be_visible()


@browser_test
@pytest.mark.parametrize("path", ["/due", "/gear?q=mic", "/more", "/t/{code}/repair"])
def test_a_page_that_is_not_on_the_phone_says_so_and_what_still_works(gone: Truck, taken: Page, path: str) -> None:
    page = taken
    page.goto(f"{gone.base}/sessions/{gone.session}")
    with gone.no_signal():
        page.goto(gone.base + path.format(code=gone.codes[0]))
        expect(page.get_by_role("heading", level=1)).to_have_text("No signal")
        expect(page.get_by_text("This page is not on this phone")).to_be_visible()
        expect(page.get_by_text("What you log is kept on this phone")).to_be_visible()
        expect(page.get_by_role("link", name="Tuesday at the truck")).to_be_visible()
        page.get_by_role("button", name="Go back").click()
        expect(page.get_by_role("heading", level=1)).to_have_text("Tuesday at the truck")
        page.goto(gone.base + path.format(code=gone.codes[0]))
    page.get_by_role("link", name="Try again").click()
    expect(page.get_by_role("heading", level=1)).not_to_have_text("No signal")
    assert page.url == gone.base + path.format(code=gone.codes[0])


@browser_test
def test_trying_again_leads_nowhere_else(gone: Truck, taken: Page) -> None:
    page = taken
    with gone.no_signal():
        page.goto(f"{gone.base}//elsewhere.example/due?q=1")
        again = page.get_by_role("link", name="Try again")
        assert again.evaluate("(link) => link.href") == f"{gone.base}//elsewhere.example/due?q=1"


@browser_test
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_offline_pages_can_be_used_by_everybody(gone: Truck, taken: Page, scheme: str) -> None:
    page, code = taken, gone.codes[0]
    page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
    page.goto(gone.form())
    press(page, "Pass")
    paths = (
        "/offline",
        "/due",
        f"/sessions/{gone.session}",
        f"/t/{code}",
        f"/t/{code}/test?session={gone.session}",
    )
    with gone.no_signal():
        for path in paths:
            page.goto(gone.base + path)
            expect(page.get_by_role("heading", level=1)).to_be_visible()
            expect(bar(page).get_by_role("button").first).to_be_visible()
            assert barriers(page) == []
            small = page.locator("a:visible, button:visible").evaluate_all(
                "all => all.filter((one) => one.getBoundingClientRect().height < 44).map((one) => one.outerHTML)"
            )
            assert small == [], path
            assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    page.goto(f"{gone.base}/offline")
    page.evaluate("dispatchEvent(new Event('online'))")  # it may be on its way already
    eventually(lambda: entries(page) == [])


@browser_test
def test_nothing_of_the_log_is_kept(gone: Truck, taken: Page) -> None:
    taken.goto(f"{gone.base}/t/{gone.codes[0]}")
    kept = taken.evaluate(
        """async () => {
          const all = (await caches.keys()).map(async (name) => (await caches.open(name)).keys());
          return (await Promise.all(all)).flat().map((request) => new URL(request.url).pathname);
        }"""
    )
    assert {path for path in kept if not path.startswith("/static/")} == {"/offline"}


@browser_test
def test_a_newer_worker_drops_the_older_ones_pages_and_no_test(gone: Truck, taken: Page) -> None:
    page = taken
    page.goto(gone.form())
    press(page, "Pass")
    (entry,) = entries(page)
    gone.line.altered["/sw.js"] = lambda body: re.sub(rb'"version": "\w+"', b'"version": "newer"', body)
    page.wait_for_function("navigator.serviceWorker.ready.then((one) => one.update()).then(() => true)")
    eventually(lambda: page.evaluate("caches.keys()") == ["coilbook-newer"])
    with gone.no_signal():
        page.goto(f"{gone.base}/offline")
        assert [one["id"] for one in entries(page)] == [entry["id"]]
        expect(page.get_by_text("Tuesday at the truck")).to_be_visible()
        gone.line.altered.clear()
    page.evaluate("dispatchEvent(new Event('online'))")  # it may be on its way already
    eventually(lambda: entries(page) == [])
    assert [str(key) for key in gone.logged()].count(entry["id"]) == 1


@browser_test
def test_plain_http_says_that_there_is_no_offline(gone: Truck, browser: Browser) -> None:
    rules = f"--host-resolver-rules=MAP 192.0.2.7 127.0.0.1:{gone.line.port}"
    plain = browser.browser_type.launch(executable_path=chromium_program(), args=[*FLAGS, rules])
    try:
        with phone_in(plain) as context:
            _on_a_lan(gone, context)
    finally:
        plain.close()


def _on_a_lan(at: Truck, context: BrowserContext) -> None:
    page = context.new_page()
    page.goto(at.service.way_in(Role.CREW).replace(at.service.base, "http://192.0.2.7"))
    page.get_by_label("Your name here").fill("Ida")
    page.get_by_role("button", name="Join").click()
    expect(page.locator(".me")).to_contain_text("Ida")
    assert page.evaluate("isSecureContext") is False
    page.goto(f"http://192.0.2.7/sessions/{at.session}")
    expect(page.locator("[data-told]")).to_contain_text("this address is plain http")
    assert page.get_by_role("button", name="Take it along").count() == 0
    before = len(at.logged())
    page.goto(f"http://192.0.2.7/t/{at.codes[0]}/test")
    press(page, "Pass")
    page.locator("[data-outbox]").get_by_role("button", name="Send now").click()
    eventually(lambda: len(at.logged()) == before + 1)


@browser_test
@pytest.mark.parametrize(
    ("agent", "offered"), [("Mozilla/5.0 (Linux; Android 15)", 1), ("Mozilla/5.0 (iPhone; CPU)", 0)]
)
def test_it_is_no_app_where_that_would_have_a_second_outbox(
    gone: Truck, browser: Browser, agent: str, offered: int
) -> None:
    with browser.new_context(user_agent=agent) as context:
        page = gone.joined(context)
        expect(page.locator("link[rel=manifest]")).to_have_count(offered)


CAMERA = """
  globalThis.BarcodeDetector = class {
    static async getSupportedFormats() { return ["qr_code"]; }
    async detect() { return [{ rawValue: "HTTPS://ELSEWHERE.EXAMPLE/T/%s" }]; }
  };
  navigator.mediaDevices.getUserMedia = async () => document.createElement("canvas").captureStream();
  HTMLMediaElement.prototype.play = async () => {};
  Object.defineProperty(HTMLMediaElement.prototype, "readyState", { get: () => 4 });
"""


@browser_test
def test_a_code_is_scanned_or_typed_without_a_signal(gone: Truck, taken: Page) -> None:
    page, code = taken.context.new_page(), gone.codes[0]
    page.add_init_script(CAMERA % code)  # this browser has neither detector nor camera
    with gone.no_signal():
        page.goto(f"{gone.base}/scan")
        page.get_by_role("button", name="Hold the camera on it").click()
        expect(page.locator(".code-big")).to_have_text(f"{code[:3]} {code[3:]}")
        page.goto(f"{gone.base}/offline")
        page.get_by_role("textbox", name="Code").fill(f"{code[:3].lower()} {code[3:]}")
        page.get_by_role("button", name="Show it").click()
        expect(page.locator(".code-big")).to_have_text(f"{code[:3]} {code[3:]}")
        page.close()
