"""How channels stand by what a phone logged since it last heard of the service."""

from typing import Any

from tests.support.script import module, run

STAND = """async ([url, channels, entries, pack]) => {
  const { codesOf, standings, withSwaps } = await import(url);
  return [standings(channels, entries, codesOf(pack)), withSwaps(pack, entries)];
}"""
PACK = {
    "components": {
        "item 1": {"name": "10 ft cable AAAAAA", "code": "AAAAAA"},
        "item 2": {"name": "10 ft cable BBBBBB", "code": "BBBBBB"},
        "mixer": {"name": "the mixer", "code": ""},
    },
    "channels": [
        {"id": "one", "parts": [{"keys": ["item 1"]}, {"keys": ["mixer"]}]},
        {"id": "two", "parts": [{"keys": ["item 2"]}, {"keys": ["mixer"]}]},
    ],
}


def stand(*entries: tuple[str, dict[str, Any]]) -> tuple[dict[str, str], Any]:
    """What stands for both channels, which the service told to be dead and not heard, after these entries."""
    told = [
        {"channel": "one", "heard": "dead", "at": "2026-12-01T12:00:00+00:00"},
        {"channel": "two", "heard": None, "at": None},
    ]
    here = [
        {"url": f"/api/v1/{name}", "body": body | {"at": f"2026-12-01T11:00:{second:02}Z"}}
        for second, (name, body) in enumerate(entries)
    ]
    sounds, pack = run(STAND, [module("lines/listening.js"), told, here, PACK])
    return {key: "again" if now.get("again") else now["heard"] for key, now in sounds.items()}, pack


def test_the_latest_entry_of_the_phone_stands_over_what_the_service_told() -> None:
    assert stand()[0] == {"one": "dead", "two": ""}
    good, dead = {"channel": "two", "heard": "good"}, {"channel": "two", "heard": "dead"}
    assert stand(("heard", good), ("heard", dead))[0] == {"one": "dead", "two": "dead"}


def test_what_was_put_right_is_listened_to_again() -> None:
    found = ("causes", {"channel": "one", "what": "mixer"})
    assert stand(found)[0] == {"one": "again", "two": ""}
    assert stand(found, ("heard", {"channel": "one", "heard": "good"}))[0] == {"one": "good", "two": ""}
    sounds, pack = stand(("swaps", {"bad": "AAAAAA", "spare": "CCCCCC"}))
    assert sounds == {"one": "again", "two": ""}
    assert [each["name"] for each in pack["components"].values()] == [
        "10 ft cable CCCCCC",
        "10 ft cable BBBBBB",
        "the mixer",
    ]
