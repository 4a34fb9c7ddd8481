"""A phone that loses its storage, or has none: the other place takes over, and what cannot be kept is said.

An iPhone is simulated: no SyncManager, no BarcodeDetector, and a connection to IndexedDB that ends by itself.
"""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.outbox.support import Truck, bar, entries, eventually, lead_on, press, send_now
from tests.support.chromium import phone_in

pytestmark = pytest.mark.browser

IPHONE = "delete globalThis.SyncManager; delete globalThis.BarcodeDetector;"
LOST = """
  const real = IDBDatabase.prototype.transaction;
  let fails = %s;
  IDBDatabase.prototype.transaction = function (...asked) {
    if (fails-- > 0) throw new DOMException("Connection to Indexed Database server lost.", "%s");
    return real.apply(this, asked);
  };
"""
NO_DATABASE = """
  IDBFactory.prototype.open = () => { throw new DOMException("refused", "SecurityError"); };
"""
NO_MIRROR = """
  Storage.prototype.setItem = () => { throw new DOMException("full", "QuotaExceededError"); };
"""
NO_RESUBMIT = "delete HTMLFormElement.prototype.requestSubmit;"
NO_UUID = "delete Crypto.prototype.randomUUID; Object.defineProperty(navigator, 'locks', { value: undefined });"


@pytest.fixture
def phone_with(at_truck: Truck, browser: Browser) -> Iterator[object]:
    """A phone whose browser is made to behave in some way once it has joined."""
    with phone_in(browser) as context:
        page = at_truck.joined(context)

        def made(script: str) -> Page:
            context.add_init_script(script)
            return page

        yield made


@pytest.mark.parametrize(
    "script",
    [
        IPHONE + LOST % (1, "InvalidStateError"),
        IPHONE + LOST % (1, "UnknownError"),
        LOST % (1000, "UnknownError"),
        NO_DATABASE,
        NO_MIRROR,
        NO_UUID,
    ],
    ids=["lost once", "lost once, unknown", "lost for good", "no database", "no mirror", "an old browser"],
)
def test_a_test_is_kept_and_sent_all_the_same(at_truck: Truck, phone_with: object, script: str) -> None:
    page: Page = phone_with(script)  # type: ignore[operator]
    page.goto(at_truck.form())
    press(page, "Pass")
    (entry,) = entries(page)
    lead_on(page)
    assert [one["id"] for one in entries(page)] == [entry["id"]]
    send_now(page)
    eventually(lambda: entries(page) == [])
    assert [str(key) for key in at_truck.logged()].count(entry["id"]) == 1


@pytest.mark.parametrize("older", ["", NO_RESUBMIT], ids=["a browser of today", "an older one"])
def test_where_nothing_can_be_kept_it_is_said_and_the_form_is_sent(
    at_truck: Truck, phone_with: object, older: str
) -> None:
    page: Page = phone_with(NO_DATABASE + NO_MIRROR + older)  # type: ignore[operator]
    before = len(at_truck.logged())
    page.goto(at_truck.form())
    said: list[str] = []
    page.expose_function("told", lambda words: said.append(words))
    page.evaluate(
        "new MutationObserver(() => told(document.querySelector('[data-outbox]').textContent))"
        ".observe(document.querySelector('[data-outbox]'), { childList: true, subtree: true })"
    )
    press(page, "Pass")
    expect(page.get_by_role("heading", level=1)).to_contain_text("Pass")
    assert len(at_truck.logged()) == before + 1
    assert any("This phone keeps nothing for websites" in words for words in said)


def test_where_nothing_can_be_kept_a_test_stays_on_its_page_until_there_is_a_signal(
    at_truck: Truck, phone_with: object
) -> None:
    page: Page = phone_with(NO_DATABASE + NO_MIRROR)  # type: ignore[operator]
    before = len(at_truck.logged())
    page.goto(at_truck.form())
    page.get_by_text("Bent behind both").click()
    with at_truck.no_signal():
        page.locator(".actions").get_by_role("button", name="Pass").click()
        expect(page.get_by_text("There is no signal, so this was not sent.")).to_be_visible()
        expect(page.get_by_text("Bent behind both")).to_be_checked()
    press(page, "Pass")
    expect(page.get_by_role("heading", level=1)).to_contain_text("Pass")
    assert len(at_truck.logged()) == before + 1


def test_an_entry_that_only_the_mirror_has_is_sent(at_truck: Truck, phone_with: object) -> None:
    page: Page = phone_with("")  # type: ignore[operator]
    page.goto(at_truck.form())
    press(page, "Pass")
    (entry,) = entries(page)
    page.wait_for_function(
        "new Promise((done) => { indexedDB.deleteDatabase('coilbook').onsuccess = () => done(true); })"
    )
    lead_on(page)
    assert [one["id"] for one in entries(page)] == [entry["id"]]
    send_now(page)
    eventually(lambda: entries(page) == [])
    assert [str(key) for key in at_truck.logged()].count(entry["id"]) == 1
    expect(bar(page)).not_to_contain_text("not sent")
