"""Many tests on several phones without a signal, pages killed at any point, then everything sent: exactly that many.

Each test bears its number in its note. After a kill the phone is opened again and asked what it kept, as a person would
look; what it did not keep is done once more.
"""

from contextlib import ExitStack
from random import Random

import pytest
from playwright.sync_api import Browser, BrowserContext, Error, Page

from tests.outbox.proxy import CUT_AFTER, CUT_BEFORE, TORN, Answer, Told
from tests.outbox.support import Truck, entries, eventually, worker_ready
from tests.support.chromium import phone_in

LOG = """([code, session, numbers]) => {
  const script = document.querySelector('script[src*="/offline/shell.js"]');
  globalThis.loggedSoFar = 0;
  globalThis.logging = (async () => {
    const { add } = (await import(new URL('../outbox/page.js', script.src))).outbox_outbox;
    for (const number of numbers) {
      const joined = [['A1', 'B1'], ['A2', 'B2'], ['A3', 'B3']];
      const body = { item: code, session, tested_at: new Date().toISOString(), joined, note: `number ${number}` };
      await add('/api/v1/tests', body, { code, verdict: 'Pass', words: [], fields: [], back: '/' });
      globalThis.loggedSoFar += 1;
    }
  })();
}"""


def a_round(at: Truck, browser: Browser, tests: int, phones: int, chance: Random) -> int:
    """One round; how often a page was killed in it.

    Raises:
        AssertionError: a test was lost or doubled.
    """
    earlier = len(at.logged())
    kills = 0
    with ExitStack() as stack:
        hands = [stack.enter_context(phone_in(browser)) for _ in range(phones)]
        pages = [_ready(at, hand, f"Helper {number}") for number, hand in enumerate(hands, 1)]
        with at.no_signal():
            share = [list(range(number, tests, phones)) for number in range(phones)]
            for number, hand in enumerate(hands):
                pages[number], killed = _log(at, hand, pages[number], share[number], chance)
                kills += killed
        faults: list[Told] = [
            CUT_BEFORE,
            CUT_AFTER,
            TORN,
            Answer(502),
            Answer(500),
            Answer(429, headers=(("Retry-After", "0"),)),
        ]
        at.line.tell(*chance.choices(faults, k=tests // 4))
        for number, hand in enumerate(hands):
            pages[number] = _killed(at, hand, pages[number])
            kills += 1
            eventually(lambda page=pages[number]: _sent(page), 60 + tests)  # type: ignore[misc]
    notes = sorted(int(test.note.split()[1]) for test in at.tests()[earlier:])
    assert notes == list(range(tests)), "a test was lost or doubled"
    return kills


def _ready(at: Truck, hand: BrowserContext, name: str) -> Page:
    page = at.joined(hand, name)
    page.goto(at.form())
    worker_ready(page)
    page.goto(f"{at.base}/offline")
    return page


def _log(at: Truck, hand: BrowserContext, page: Page, numbers: list[int], chance: Random) -> tuple[Page, int]:
    kills = 0
    while True:
        held = {int(entry["body"]["note"].split()[1]) for entry in entries(page)}
        left = [number for number in numbers if number not in held]
        if not left:
            return page, kills
        page.evaluate(LOG, [at.codes[0], str(at.session), left])
        stop = chance.randint(1, max(1, len(left)))
        eventually(lambda page=page: page.evaluate("loggedSoFar") >= min(stop, len(left)))  # type: ignore[misc] # noqa: B023
        page = _killed(at, hand, page)
        kills += 1


def _killed(at: Truck, hand: BrowserContext, page: Page) -> Page:
    """The page's process ends at once; another page of the same phone."""
    with pytest.raises(Error, match="crash"):
        page.goto("chrome://crash")
    page.close()
    fresh = hand.new_page()
    fresh.goto(f"{at.base}/offline")
    return fresh


def _sent(page: Page) -> bool:
    page.evaluate("dispatchEvent(new Event('online'))")
    return entries(page) == []
