"""The answer against a search by brute force: every set of faults up to a cost, on small wirings.

The tables hold every reading that such faults can give; cost and tie-breaking must agree on each, with every
contact probed and with some left out.
"""

from collections.abc import Iterator, Sequence
from functools import cache
from itertools import combinations
from random import Random

import pytest

from service.diagnosis.diagnosis import diagnose
from service.wiring.builtin import BUILTIN
from service.wiring.wirings import Conductor, Wiring, read, wiring
from tests.diagnosis.exhaustive import Groups, Table, cost, listed, obeys, simulate
from tests.diagnosis.tables import explanations
from tests.wiring.broken import as_things


def lanes(*shield: str) -> Wiring:
    """Two lanes of a hot and a cold; with `shield`, the shields of both start at the shell of end A."""
    conductors = []
    for lane in "12":
        conductors += [
            Conductor(f"{lane}h", f"A{lane}h", f"B{lane}h", "hot", lane, lane),
            Conductor(f"{lane}c", f"A{lane}c", f"B{lane}c", "cold", lane, lane),
            *(Conductor(f"s{lane}", "As", f"B{lane}{name}", "shield", None, lane) for name in shield),
        ]
    cores = ["1h", "1c", "2h", "2c"]
    return wiring([*cores, *("s" for _ in shield)], [*cores, *(n + g for n in "12" for g in shield)], conductors)


WIRINGS = {
    "xlr3": (BUILTIN["xlr3"], 3),
    "bonded": (BUILTIN["xlr3-bonded"], 3),
    "lifted": (BUILTIN["xlr3-lifted"], 3),
    "plug": (BUILTIN["xlr3-to-trs"], 3),
    "two lanes": (lanes(), 3),
    "two lanes, one shield": (lanes("g"), 2),
    "shared hot": (
        wiring(
            ["1", "2", "s"],
            ["1", "2", "3", "s"],
            [
                Conductor("1", "A1", "B1", "hot", "p"),
                Conductor("2", "A1", "B2", "cold", "p"),
                Conductor("3", "A2", "B3", "single"),
            ],
            [("A1", "As")],
        ),
        3,
    ),
    "doubled": (
        wiring(
            ["1", "2"],
            ["1", "2"],
            [
                Conductor("1", "A1", "B1", "single"),
                Conductor("1x", "A1", "B1", "single"),
                Conductor("2", "A2", "B2", "single"),
            ],
        ),
        4,
    ),
    "shared at both ends": (
        wiring(
            ["1", "2", "3", "s"],
            ["1", "2", "3"],
            [
                Conductor("1", "A1", "B1", "single"),
                Conductor("2", "A2", "B3", "single"),
                Conductor("s2", "As", "B2", "shield"),
                Conductor("s3", "As", "B3", "single"),
            ],
        ),
        3,
    ),
    "bonded cores": (
        wiring(
            ["1", "2", "s"],
            ["1", "2", "s"],
            [Conductor("1", "A1", "B1", "single"), Conductor("2", "A2", "B2", "single")],
            [("A1", "A2"), ("B1", "Bs")],
        ),
        3,
    ),
}


@cache
def table(name: str) -> Table:
    return Table(*WIRINGS[name])


@pytest.mark.parametrize("share", [None, 0.85, 0.6])
@pytest.mark.parametrize("name", WIRINGS)
def test_the_answer_is_the_one_of_brute_force(name: str, share: float | None) -> None:
    made, _ = WIRINGS[name]
    chance = Random(f"{name} {share}")
    probed = None if share is None else [one for one in made.all_contacts if chance.random() < share]
    for groups, expected in table(name).answers(probed).items():
        joined = [sorted(group) for group in groups]
        found = diagnose(made, read(made, joined, "all" if probed is None else probed))
        assert list(as_things(found.faults)) == listed(made, expected), joined
        assert found.least


def every_reading(contacts: Sequence[str]) -> Iterator[Groups]:
    """Every way to share these contacts out into groups."""
    if not contacts:
        yield frozenset()
        return
    first, *rest = contacts
    for size in range(len(rest) + 1):
        for others in combinations(rest, size):
            left = [contact for contact in rest if contact not in others]
            group = frozenset([first, *others])
            for groups in every_reading(left):
                yield groups | ({group} if others else set())


@pytest.mark.parametrize(("name", "key"), [("xlr3", "xlr3"), ("bonded", "xlr3-bonded"), ("lifted", "xlr3-lifted")])
def test_every_reading_of_three_contacts_has_its_least_explanation(name: str, key: str) -> None:
    """All 4,140 answers in the phone's table, which are those of `diagnose` (`test_offline_tables.py`): what the table
    here holds costs as much as there, what it lacks costs more than it goes to.
    """
    made, most = WIRINGS[name]
    answers = table(name).answers()
    explained = explanations(key)
    readings = list(every_reading(made.all_contacts))
    assert len(set(readings)) == 4140
    for groups in readings:
        faults, least_known = explained[groups]
        things = as_things(faults)
        assert simulate(made, things) == groups
        assert obeys(made, things, groups), things
        least = sum(map(cost, answers[groups])) if groups in answers else most + 1
        assert (sum(map(cost, things)) == least) if groups in answers else (sum(map(cost, things)) >= least)
        assert least_known or len(things) > 4
