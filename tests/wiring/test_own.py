import copy
from collections.abc import Callable
from typing import Any

import pytest

from service.kit.problems import Invalid
from service.wiring.builtin import BUILTIN
from service.wiring.own import LARGEST, parse_wiring

LEAD: dict[str, Any] = {
    "ends": {"A": ["s", "2", "1"], "B": ["1", "2", "s"]},
    "conductors": [
        {"name": "cold", "a": "A2", "b": "B2", "role": "cold", "pair": "p", "lane": None},
        {"name": "hot", "a": "A1", "b": "B1", "role": "hot", "pair": "p", "lane": None},
    ],
    "bonds": [["As", "A2"]],
}


def test_contacts_keep_their_listed_order_with_the_shell_last() -> None:
    made = parse_wiring(LEAD)
    assert made.contacts("A") == ("A2", "A1", "As")
    assert [wire.name for wire in made.conductors] == ["cold", "hot"]
    assert [(bond.earlier, bond.later, bond.end) for bond in made.bonds] == [("A2", "As", "A")]


@pytest.mark.parametrize("key", BUILTIN)
def test_a_builtin_wiring_written_out_is_the_same_wiring(key: str) -> None:
    made = BUILTIN[key]
    written = {
        "ends": {end: [contact[1:] for contact in made.contacts(end)] for end in "AB"},
        "conductors": [
            {field: getattr(wire, field) for field in ("name", "a", "b", "role", "pair", "lane")}
            for wire in reversed(made.conductors)
        ],
        "bonds": [[bond.later, bond.earlier] for bond in made.bonds],
    }
    assert parse_wiring(written) == made


def changed(change: Callable[[dict[str, Any]], object]) -> dict[str, Any]:
    asked = copy.deepcopy(LEAD)
    change(asked)
    return asked


@pytest.mark.parametrize(
    ("asked", "culprit"),
    [
        (None, '"ends", "conductors" and "bonds"'),
        (changed(lambda asked: asked.pop("ends")), '"ends" must list'),
        (changed(lambda asked: asked["ends"].update(C=[])), '"ends" must list'),
        (changed(lambda asked: asked["ends"].update(A="12s")), "contacts of end A"),
        (changed(lambda asked: asked["ends"]["A"].append(3)), "contact 3"),
        (changed(lambda asked: asked["ends"]["A"].append("")), "contact ''"),
        (changed(lambda asked: asked["ends"]["B"].append("1")), "contact '1' 2 times"),
        (changed(lambda asked: asked["ends"].update(A=[*map(str, range(LARGEST + 1))])), str(LARGEST)),
        (changed(lambda asked: asked.update(conductors={})), '"conductors" must be a list'),
        (changed(lambda asked: asked.update(conductors=[])), "no conductor"),
        (changed(lambda asked: asked["conductors"].append("hot")), "conductor 'hot'"),
        (changed(lambda asked: asked["conductors"].append({"a": "A1"})), "needs a name"),
        (changed(lambda asked: asked["conductors"][0].update(a="A9")), "'A9'"),
        (changed(lambda asked: asked["conductors"][0].update(a=["A1"])), "['A1']"),
        (changed(lambda asked: asked["conductors"][0].update(a="B1")), "a contact of end A"),
        (changed(lambda asked: asked["conductors"][0].update(b="A1")), "a contact of end B"),
        (changed(lambda asked: asked["conductors"][0].update(role="ground")), "'ground'"),
        (changed(lambda asked: asked["conductors"][0].update(lane=1)), "lane 1"),
        (changed(lambda asked: asked["conductors"][0].update(name="hot")), "'hot' 2 times"),
        (changed(lambda asked: asked["conductors"][0].update(name="As")), "'As' has the name of a contact"),
        (changed(lambda asked: asked["conductors"][0].update(pair=None)), "pair 'p' holds 'hot'"),
        (changed(lambda asked: asked["conductors"][0].update(role="hot")), "both hot"),
        (changed(lambda asked: asked.update(bonds="As")), '"bonds" must be a list'),
        (changed(lambda asked: asked["bonds"].append(["A1"])), "['A1']"),
        (changed(lambda asked: asked["bonds"].append(["A1", "A9"])), "'A9'"),
        (changed(lambda asked: asked["bonds"].append(["A1", "A1"])), "to itself"),
        (changed(lambda asked: asked["bonds"].append(["A1", "B1"])), "the two ends"),
        (changed(lambda asked: asked["bonds"].append(["A1", "As"])), "'As' 2 times"),
    ],
)
def test_a_wiring_that_contradicts_itself_is_refused_by_a_sentence_that_names_the_culprit(
    asked: object, culprit: str
) -> None:
    with pytest.raises(Invalid) as refused:
        parse_wiring(asked, "the stage lead")
    assert refused.value.detail.startswith("In the stage lead, ")
    assert culprit in refused.value.detail
    assert refused.value.errors == {"wiring": refused.value.detail}
