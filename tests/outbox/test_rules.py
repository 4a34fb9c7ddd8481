"""How long an entry waits before it is sent again, and ids on phones without https."""

import re

import pytest

from tests.support.script import module, run

WAITS = """async ([url, random]) => {
  const { wait } = await import(url);
  return [1, 2, 3, 4, 5, 6, 7, 20, 2000].map((tries) => wait(tries, null, 0, () => random));
}"""


@pytest.mark.parametrize(("random", "factor"), [(0, 0.8), (0.5, 1.0), (1, 1.2)])
def test_it_waits_twice_as_long_each_time_up_to_a_minute(random: float, factor: float) -> None:
    waits = run(WAITS, [module("outbox/rules.js"), random])
    seconds = [1, 2, 4, 8, 16, 32, 60, 60, 60]
    assert waits == [round(each * 1000 * factor) for each in seconds]


@pytest.mark.parametrize(
    ("asked", "milliseconds"),
    [("0", 0), ("7", 7_000), ("120", 120_000), ("Thu, 01 Jan 1970 00:00:30 GMT", 30_000), ("soon", 1_000)],
)
def test_it_waits_as_long_as_the_service_asks(asked: str, milliseconds: int) -> None:
    told = run(
        "async ([url, asked]) => (await import(url)).wait(1, asked, 0, () => 0.5)",
        [module("outbox/rules.js"), asked],
    )
    assert told == milliseconds


def test_ids_are_random_uuids_without_https_too() -> None:
    made = run(
        """async (url) => {
          const { newId } = await import(url);
          Object.defineProperty(crypto, 'randomUUID', { value: undefined, configurable: true });
          const ids = Array.from({ length: 500 }, newId);
          delete crypto.randomUUID;
          return ids;
        }""",
        module("outbox/sender.js"),
    )
    assert len(set(made)) == 500
    assert all(
        re.fullmatch(r"[0-9a-f]{8}-[0-9a-f]{4}-4[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}", one) for one in made
    )


def test_a_clock_that_was_set_back_holds_nothing() -> None:
    entry = {"state": "waiting", "tries": 0, "made_at": 2_000_000, "not_before": 2_010_000}
    told = run(
        "async ([url, entry]) => { const { undoable } = await import(url); return [1000, 2_005_000, 2_010_000]"
        ".map((now) => undoable(entry, now)); }",
        [module("outbox/rules.js"), entry],
    )
    assert told == [False, True, False]
