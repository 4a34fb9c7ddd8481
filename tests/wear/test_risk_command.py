import json
from io import StringIO
from typing import Any

import pytest

from service.wear.core.lives import Life
from service.wear.core.pooling import PooledItem, bad_at_event
from service.wear.risk_command import main

ITEM = {
    "name": "F6AZ3D",
    "class": ["cable", "cable xlr3", "cable xlr3 strapped", "cable xlr3 strapped lot 2"],
    "lives": [[30, 60], [22, None]],
    "passed": 22,
    "event": 31,
}
PROGRAM = {"id": "any", "items": [ITEM]}


def run(*lines: Any) -> tuple[int, list[dict[str, Any]]]:
    out = StringIO()
    status = main(StringIO("\n".join(json.dumps(line) for line in lines)), out)
    return status, [json.loads(line) for line in out.getvalue().splitlines()]


def test_the_contracts_example() -> None:
    """The contract's line is answered by 0.0431, which is no single right number."""
    status, [answer] = run(PROGRAM)
    assert status == 0
    assert list(answer) == ["id", "risk"]
    assert answer["id"] == "any"
    assert list(answer["risk"]) == ["F6AZ3D"]
    assert 0.02 < answer["risk"]["F6AZ3D"] < 0.08


def test_items_are_answered_by_name_in_their_order() -> None:
    other = {"name": "B", "class": ["hub"], "lives": [[10, 40, 2], [45, 45], [0, None]], "passed": 0, "event": 9.5}
    _, [answer] = run({"id": "any", "items": [other, ITEM]})
    paths = ("hub",), tuple(str(step) for step in PROGRAM["items"][0]["class"])  # type: ignore[index]
    lives = (Life(10, 40, 2), Life(45, 45), Life(0, None)), (Life(30, 60), Life(22, None))
    said = bad_at_event([PooledItem(paths[0], lives[0], 0, 9.5), PooledItem(paths[1], lives[1], 22, 31)])
    assert list(answer["risk"].items()) == [("B", said[0]), ("F6AZ3D", said[1])]


def test_an_event_on_the_day_of_the_pass_has_no_risk() -> None:
    status, [answer] = run({"id": "any", "items": [{**ITEM, "event": 22}]})
    assert (status, answer["risk"]) == (0, {"F6AZ3D": 0})


def test_an_item_that_never_passed_has_a_risk() -> None:
    status, [answer] = run({"id": "any", "items": [{**ITEM, "lives": [[0, None]], "passed": 0}]})
    assert status == 0
    assert 0 < answer["risk"]["F6AZ3D"] < 0.2


def test_a_program_without_items_is_answered() -> None:
    assert run({"id": "any", "items": []}) == (0, [{"id": "any", "risk": {}}])


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"class": []}, 'Item "F6AZ3D": "class" must be a list of texts'),
        ({"class": "cable"}, '"class" must be a list of texts'),
        ({"class": ["cable", 3]}, '"class" must be a list of texts'),
        ({"lives": []}, 'Item "F6AZ3D": the last of "lives" must be the running one, [22, null].'),
        ({"lives": None}, '"lives" must be a list'),
        ({"lives": [[22, None], [30, 60]]}, "must be the running one, [22, null]"),
        ({"lives": [[21, None]]}, "must be the running one, [22, null]"),
        ({"lives": [[22, 25]]}, "must be the running one, [22, null]"),
        ({"lives": [[22, None, 2]]}, "must be the running one, [22, null]"),
        ({"lives": [[60, 30], [22, None]]}, 'Item "F6AZ3D": The life [60, 30] ends before it starts'),
        ({"lives": [[0, 0], [22, None]]}, "failed before any use"),
        ({"lives": [[30], [22, None]]}, "[lower, upper]"),
        ({"lives": [["30", 60], [22, None]]}, "must be a number, and it is '30'"),
        ({"passed": -1, "lives": [[-1, None]]}, 'Item "F6AZ3D": "passed" is -1; ages start at 0.'),
        ({"passed": None}, 'Item "F6AZ3D": "passed" must be a number'),
        ({"event": 21}, 'Item "F6AZ3D": "event" is 21, before "passed", 22'),
        ({"event": True}, 'Item "F6AZ3D": "event" must be a number'),
        ({"event": 1e300}, "give a number below 1e+100"),
        ({"name": 3}, 'Item 1 of "items" lacks "name", a text.'),
        ({"age": 3}, 'Item "F6AZ3D" has "age", which is none of name, class, lives, passed, event.'),
    ],
)
def test_one_wrong_item_refuses_its_program_and_the_rest_is_answered(change: dict[str, Any], says: str) -> None:
    wrong = {"id": "x", "items": [{**ITEM, "name": "good"}, {**ITEM, **change}]}
    status, [refused, answered] = run(wrong, PROGRAM)
    assert status == 1
    assert list(refused) == ["id", "error"]
    assert refused["id"] == "x"
    assert says.replace("Item 1", "Item 2") in refused["error"]
    assert "risk" in answered


@pytest.mark.parametrize("field", ["name", "class", "lives", "passed", "event"])
def test_a_field_that_is_missing_is_named(field: str) -> None:
    status, [refused] = run({"id": "x", "items": [{name: value for name, value in ITEM.items() if name != field}]})
    assert status == 1
    assert f'lacks "{field}"' in refused["error"]


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ({"id": "x"}, 'The line lacks "items"'),
        ({"id": "x", "items": {}}, '"items", a list'),
        ({"id": "x", "items": [3]}, 'Item 1 of "items" must be an object'),
        ({"id": "x", "items": [ITEM, ITEM]}, 'Two items are named "F6AZ3D"'),
        ({"id": "x", "items": [], "season": 1}, 'The line has "season"'),
    ],
)
def test_a_wrong_program_is_refused(line: dict[str, Any], says: str) -> None:
    status, [refused] = run(line)
    assert status == 1
    assert refused["id"] == "x"
    assert says in refused["error"]
