import json
from io import BytesIO, StringIO, TextIOWrapper
from typing import Any

import pytest

from service.season.command import main

SEASON: dict[str, Any] = {"season": {"starts": "2026-08-03", "ends": "2026-11-15", "rounds": 2}, "today": "2026-10-01"}
ITEM = {"code": "any", "in_service_on": "2026-08-03", "history": [{"on": "2026-08-20", "what": "pass"}]}
DUE = {"code": "any", "state": "due", "due_by": "2026-11-16", "round": 1}


def run(*lines: Any) -> tuple[int, list[dict[str, Any]]]:
    text = "\n".join(line if isinstance(line, str) else json.dumps(line) for line in lines)
    out = StringIO()
    status = main(StringIO(text), out)
    return status, [json.loads(line) for line in out.getvalue().splitlines()]


def test_the_contracts_example() -> None:
    assert run(SEASON, ITEM) == (0, [DUE])


def test_a_line_that_is_not_utf_8_is_refused_alone() -> None:
    lines = [json.dumps(SEASON).encode(), b'{"code": "\xff"}', json.dumps(ITEM).encode()]
    out = StringIO()
    assert main(TextIOWrapper(BytesIO(b"\n".join(lines))), out) == 1
    refused, answered = map(json.loads, out.getvalue().splitlines())
    assert "not JSON" in refused["error"]
    assert answered == DUE


def test_blank_lines_and_unknown_keys_are_passed_over() -> None:
    assert run("", {**SEASON, "more": 1}, " ", {**ITEM, "more": 1}) == (0, [DUE])


def test_rounds_may_be_listed() -> None:
    rounds = [
        {"opens": "2026-08-03", "closes": "2026-09-24"},
        {"opens": "2026-09-24", "closes": "2026-11-16"},
    ]
    assert run({**SEASON, "season": {**SEASON["season"], "rounds": rounds}}, ITEM) == (0, [DUE])


def test_the_day_on_which_the_last_season_of_all_closes_can_be_asked_about() -> None:
    season = {"starts": "2199-08-01", "ends": "2199-12-31", "rounds": 1}
    item = {**ITEM, "history": [{"on": "2199-07-01", "what": "pass"}]}
    status, [answer] = run({"season": season, "today": "2199-12-31"}, item)
    assert (status, answer["state"]) == (0, "due")
    day = answer["due_by"]
    listed = {**season, "rounds": [{"opens": season["starts"], "closes": day}]}
    assert run({"season": listed, "today": "2199-12-31"}, item) == (0, [answer])
    late = {**item, "history": [*item["history"], {"on": day, "what": "fail"}]}
    new = {"code": "new", "in_service_on": day, "history": item["history"]}
    status, answers = run({"season": season, "today": day}, item, late, new)
    assert status == 0
    assert [(each["state"], each["due_by"]) for each in answers] == [
        ("overdue", day),
        ("blocked", None),
        ("current", None),
    ]


def test_no_season_ends_on_that_day_so_that_nothing_is_due_by_a_later_one() -> None:
    season = {"starts": "2199-08-01", "ends": "2200-01-01", "rounds": 1}
    status, [refused] = run({"season": season, "today": "2199-12-31"}, ITEM)
    assert status == 1
    assert refused["error"] == '"ends": The year 2200 is not between 1900 and 2199; check the date.'
    for late in ("2200-01-02", "2201-01-01"):
        assert run(SEASON, {**ITEM, "in_service_on": late})[0] == 1


def test_what_does_not_apply_is_null() -> None:
    assert run(SEASON, {**ITEM, "history": []}) == (
        0,
        [{"code": "any", "state": "untested", "due_by": None, "round": None}],
    )


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"in_service_on": None}, '"in_service_on" must be a date'),
        ({"in_service_on": "8/3/2026"}, '"in_service_on": “8/3/2026” is not a date'),
        ({"history": None}, 'lacks "history"'),
        ({"history": ["pass"]}, 'must be an object with "on" and "what"'),
        ({"history": [{"on": "2026-08-20", "what": "passed"}]}, "“passed” is not a"),
        ({"history": [{"on": "2026-08-20", "what": ["pass"]}]}, "it is one of pass, fail, partial, repair"),
        ({"history": [{"what": "pass"}]}, '"on" must be a date'),
        (
            {"history": [{"on": d, "what": "pass"} for d in ("2026-08-20", "2026-08-19")]},
            "2026-08-19 after 2026-08-20",
        ),
        ({"history": [{"on": "2027-02-29", "what": "pass"}]}, "“2027-02-29” is not a date"),
    ],
)
def test_a_wrong_item_is_refused_and_the_rest_answered(change: dict[str, Any], says: str) -> None:
    status, lines = run(SEASON, {**ITEM, "code": "x", **change}, ITEM)
    assert status == 1
    assert lines[0]["code"] == "x"
    assert says in lines[0]["error"]
    assert lines[1] == DUE


def test_an_item_without_a_code_is_refused_without_one() -> None:
    status, lines = run(SEASON, {**ITEM, "code": 7}, "{", ITEM)
    assert status == 1
    assert [line["code"] for line in lines] == [None, None, "any"]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"rounds": True}, "must be a whole number"),
        ({"rounds": 2.0}, "must be a whole number"),
        ({"rounds": None}, "must be a whole number"),
        ({"rounds": 0}, "from 1 to 105 rounds, not 0"),
        ({"rounds": []}, "at least one round"),
        ({"rounds": [1]}, "must be a whole number, or a list"),
        ({"rounds": [{"opens": "2026-08-03"}]}, '"closes" must be a date'),
        ({"rounds": [{"opens": "2026-08-03", "closes": "2026-08-03"}]}, "must close on a later day"),
        ({"ends": "2026-08-02"}, "before it starts"),
        ({"starts": None}, '"starts" must be a date'),
    ],
)
def test_a_wrong_season_gives_one_error_line_and_nothing_else(change: dict[str, Any], says: str) -> None:
    status, lines = run({**SEASON, "season": {**SEASON["season"], **change}}, ITEM)
    assert status == 1
    assert len(lines) == 1
    assert lines[0]["code"] is None
    assert says in lines[0]["error"]


@pytest.mark.parametrize(
    ("first", "says"),
    [
        (ITEM, 'lacks "season"'),
        ({"season": SEASON["season"]}, '"today" must be a date'),
        ("[]", "not an object"),
        ("{", "not JSON"),
        ("", "The first line must be the season"),
    ],
)
def test_the_first_line_must_be_the_season(first: Any, says: str) -> None:
    status, [line] = run(first)
    assert status == 1
    assert says in line["error"]
