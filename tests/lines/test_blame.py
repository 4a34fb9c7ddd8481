import math
from decimal import Decimal
from fractions import Fraction
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.kit.problems import Problem
from service.lines.core.blame import Blame, CheckedLine, Heard, blame
from service.lines.core.branches import Cases
from service.lines.core.groups import groups_of
from tests.lines.exhaustive import quickscore, truths
from tests.support.examples import examples

Checked = tuple[dict[str, float], list[CheckedLine]]

NAMES = ("mic 1", "mic 2", "K", "L", "hub", "trunk", "Ä", "mixer")
# What is probable alike, what is nearly so on both sides of the tie, and what is far apart.
PROBABILITIES = (0.01, 0.01 * (1 + 4e-10), 0.01 * (1 + 3e-9), 0.02, 0.03, 0.2, 0.04, 0.49, 1e-9, 1e-300)


def line(name: str, through: str, heard: Heard = Heard.DEAD) -> CheckedLine:
    return CheckedLine(name, frozenset(through.split()), heard)


@st.composite
def line_checks(draw: st.DrawFn, most_lines: int = 5) -> Checked:
    names = draw(st.lists(st.sampled_from(NAMES), min_size=1, max_size=7, unique=True))
    some = draw(st.lists(st.sampled_from(PROBABILITIES), min_size=1, max_size=3))
    probabilities = {name: draw(st.sampled_from(some) | st.floats(1e-6, 0.499)) for name in names}
    through = st.frozensets(st.sampled_from(names), min_size=1)
    heard = st.sampled_from((Heard.DEAD, Heard.DEAD, Heard.DEAD, Heard.GOOD, Heard.UNHEARD))
    lines = draw(st.lists(st.tuples(through, heard), max_size=most_lines))
    cleared = frozenset[str]().union(*(names for names, heard in lines if heard is Heard.GOOD))
    return probabilities, [
        CheckedLine(str(number), names, heard)
        for number, (names, heard) in enumerate(lines)
        if heard is not Heard.DEAD or not names <= cleared
    ]


def assert_same(one: Blame, other: Blame) -> None:
    assert one.evidence == pytest.approx(other.evidence, rel=1e-12)
    assert list(one.bad) == list(other.bad)
    assert list(one.bad.values()) == pytest.approx(list(other.bad.values()), rel=1e-12)
    assert one.explanation == other.explanation
    assert one.explanation_probability == pytest.approx(other.explanation_probability, rel=1e-12)


@examples(80)
@given(line_checks())
def test_it_is_what_a_look_at_every_set_of_bad_components_gives(checked: Checked) -> None:
    probabilities, lines = checked
    answer, every = blame(probabilities, lines), truths(probabilities, lines)
    assert answer.evidence == pytest.approx(float(every.evidence), rel=1e-12, abs=1e-300)
    assert list(answer.bad) == sorted(probabilities)
    for name, bad in answer.bad.items():
        assert bad == pytest.approx(float(every.bad(name)), rel=1e-10, abs=1e-13)
    assert answer.explanation == every.explanation()
    assert answer.explanation_probability == pytest.approx(float(every.given_heard(answer.explanation)), rel=1e-10)


@examples(30)
@given(line_checks(most_lines=7))
def test_the_evidence_is_that_of_inclusion_and_exclusion(checked: Checked) -> None:
    """Heckerman 1989, see `quickscore`."""
    assert blame(*checked).evidence == pytest.approx(float(quickscore(*checked)), rel=1e-12, abs=1e-300)


@examples(25)
@given(line_checks(), st.randoms(use_true_random=False))
def test_the_order_of_lines_and_components_carries_no_meaning(checked: Checked, random: Random) -> None:
    probabilities, lines = checked
    shuffled = random.sample(list(probabilities), len(probabilities))
    again = blame({name: probabilities[name] for name in shuffled}, random.sample(lines, len(lines)))
    assert_same(again, blame(probabilities, lines))


@examples(25)
@given(line_checks())
def test_other_names_in_the_same_order_change_nothing_but_names(checked: Checked) -> None:
    probabilities, lines = checked
    other = {name: f"cable {number}" for number, name in enumerate(sorted(probabilities))}
    renamed = blame(
        {other[name]: p for name, p in probabilities.items()},
        [CheckedLine(f"channel {each.name}", frozenset(map(other.get, each.through)), each.heard) for each in lines],  # type: ignore[arg-type]
    )
    answer = blame(probabilities, lines)
    assert [other[name] for name in answer.explanation] == renamed.explanation
    assert {other[name]: bad for name, bad in answer.bad.items()} == renamed.bad


@examples(25)
@given(line_checks(), st.data())
def test_a_line_that_nobody_heard_and_a_component_on_no_line_change_nothing(
    checked: Checked, data: st.DataObject
) -> None:
    probabilities, lines = checked
    unheard = data.draw(st.frozensets(st.sampled_from(sorted(probabilities)), min_size=1))
    before = blame(probabilities, lines)
    after = blame({**probabilities, "spare": 0.3}, [*lines, CheckedLine("unheard", unheard, Heard.UNHEARD)])
    assert after.bad.pop("spare") == 0.3
    assert after.explanation_probability == pytest.approx(0.7 * before.explanation_probability, rel=1e-12)
    assert (after.evidence, after.bad, after.explanation) == (before.evidence, before.bad, before.explanation)


@examples(25)
@given(line_checks())
def test_a_dead_line_that_another_makes_certain_tells_nothing_new(checked: Checked) -> None:
    probabilities, lines = checked
    wider = [
        CheckedLine(f"{each.name} wider", frozenset(probabilities), Heard.DEAD)
        for each in lines
        if each.heard is Heard.DEAD
    ]
    assert_same(blame(probabilities, lines + wider), blame(probabilities, lines))


def test_nothing_heard_and_nothing_there() -> None:
    assert blame({}, []) == Blame(1.0, {}, [], 1.0)
    assert blame({"K": 0.25}, [line("1", "K", Heard.UNHEARD)]) == Blame(1.0, {"K": 0.25}, [], 0.75)
    assert blame({"K": 0.25}, [line("1", "K", Heard.GOOD)]) == Blame(0.75, {"K": 0.0}, [], 1.0)


def nested(own: float, hub: float, trunk: float) -> Checked:
    """64 lines of eight hubs under one trunk, all dead; one component each."""
    probabilities, lines = {"trunk": trunk}, []
    for h in range(8):
        probabilities[f"hub {h}"] = hub
        for channel in range(8 * h, 8 * h + 8):
            probabilities[f"cable {channel}"] = own
            lines.append(CheckedLine(str(channel), frozenset({"trunk", f"hub {h}", f"cable {channel}"}), Heard.DEAD))
    return probabilities, lines


@pytest.mark.parametrize(
    ("own", "hub", "trunk"),
    [(0.01, 0.02, 0.03), (1e-5, 1e-9, 1e-80), (1e-300, 1e-40, 1e-320), (1e-300, 1e-300, 1e-300), (0.49, 1e-12, 5e-324)],
)
def test_a_whole_rig_that_is_dead_by_hand(own: float, hub: float, trunk: float) -> None:
    """In fractions: of a hub either itself is bad or all eight cables are, and of all either the trunk or each hub."""
    answer = blame(*nested(own, hub, trunk))
    cables = (1 - Fraction(hub)) * Fraction(own) ** 8
    one_hub = Fraction(hub) + cables
    no_trunk = (1 - Fraction(trunk)) * one_hub**8
    evidence = Fraction(trunk) + no_trunk
    assert answer.evidence == pytest.approx(float(evidence), rel=1e-12, abs=0)
    hub_bad = Fraction(hub) * (Fraction(trunk) + (1 - Fraction(trunk)) * one_hub**7)
    own_bad = Fraction(own) * (
        Fraction(trunk) + (1 - Fraction(trunk)) * one_hub**7 * (hub + (1 - Fraction(hub)) * Fraction(own) ** 7)
    )
    for name, exact in (("trunk", Fraction(trunk)), ("hub 3", hub_bad), ("cable 63", own_bad)):
        assert answer.bad[name] == pytest.approx(float(exact / evidence), rel=1e-10, abs=1e-13), name
    hub_odds, own_odds, trunk_odds = (Fraction(p) / (1 - Fraction(p)) for p in (hub, own, trunk))
    hubs = max(hub_odds, own_odds**8) ** 8
    if trunk_odds >= hubs:
        assert answer.explanation == ["trunk"]
    else:
        assert answer.explanation == sorted(
            [f"hub {h}" for h in range(8)] if hub_odds >= own_odds**8 else [f"cable {c}" for c in range(64)]
        )


def test_evidence_below_every_number_leaves_the_rest_exact() -> None:
    """64 lines of two cables each, probable as 1e-200 and 3e-200: the chance of all of it, 4e-200 to the 64th, is 0."""
    probabilities = {f"{name}{number}": p for number in range(64) for name, p in (("K", 1e-200), ("L", 3e-200))}
    lines = [line(str(number), f"K{number} L{number}") for number in range(64)]
    answer = blame(probabilities, lines)
    assert answer.evidence == 0.0
    assert answer.bad["K17"] == pytest.approx(0.25, rel=1e-12)
    assert answer.bad["L17"] == pytest.approx(0.75, rel=1e-12)
    assert answer.explanation == sorted(f"L{number}" for number in range(64))
    assert answer.explanation_probability == pytest.approx(0.75**64, rel=1e-12)


@pytest.mark.parametrize(
    ("probabilities", "lines", "explanation"),
    [
        ({"b": 0.1, "a": 0.1, "c": 0.1}, ["a b c"], ["a"]),  # united, so that only names tell them apart
        ({"b": 0.1, "a": 0.1 * (1 - 5e-10)}, ["a b"], ["a"]),
        ({"b": 0.1, "a": 0.1 * (1 - 5e-9)}, ["a b"], ["b"]),
        # Odds of 1/3 times 1/3 against 1/9: as probable, and one component is fewer.
        ({"a": 0.25, "b": 0.25, "z": 0.1}, ["a z", "b z"], ["z"]),
        # Near the best one by one, but not all at once: three steps of 4e-10 are more than 1e-9.
        (
            {f"{name}{i}": 0.1 * factor for i in "123" for name, factor in (("a", 1 - 4e-10), ("b", 1.0))},
            ["a1 b1", "a2 b2", "a3 b3"],
            ["a1", "a2", "b3"],
        ),
        # b alone and c alone kill what two of the others do; the first name that is in any of the best ones decides.
        ({"a": 0.2, "b": 0.2, "c": 0.2, "d": 0.2}, ["a c", "b d", "a d"], ["a", "b"]),
        ({"B": 0.1, "a": 0.1, "Ä": 0.1}, ["a B Ä"], ["B"]),  # by code point
    ],
)
def test_ties(probabilities: dict[str, float], lines: list[str], explanation: list[str]) -> None:
    checked = [line(str(number), through) for number, through in enumerate(lines)]
    assert truths(probabilities, checked).explanation() == explanation
    assert blame(probabilities, checked).explanation == explanation


def test_ties_on_every_line_at_once() -> None:
    """2^64 sets are as probable; the one whose names come first takes the first of each line."""
    probabilities = {f"{side}{number:02}": 0.01 for number in range(64) for side in "AB"}
    lines = [line(str(number), f"A{number:02} B{number:02}") for number in range(64)]
    assert blame(probabilities, lines).explanation == [f"A{number:02}" for number in range(64)]


@pytest.mark.parametrize(
    ("lines", "culprit"),
    [
        ([line("2", "K", Heard.GOOD), line("3", "K")], "3"),
        ([line("lead vocal", "K L"), line("2", "K", Heard.GOOD), line("4", "L M", Heard.GOOD)], "lead vocal"),
        ([line("5", "", Heard.DEAD)], "5"),
        ([line("6", "", Heard.GOOD)], "6"),
        ([line("7", "", Heard.UNHEARD)], "7"),
    ],
)
def test_a_line_of_which_nothing_can_be_bad(lines: list[CheckedLine], culprit: str) -> None:
    with pytest.raises(Problem) as refused:
        blame({"K": 0.1, "L": 0.1, "M": 0.1}, lines)
    assert refused.value.detail == (f"nothing that line {culprit} goes through can be bad: all of it was heard good")


def entangled(random: Random, hubs: int, lines: int, shared: int, of_all: int, own: int) -> Checked:
    """Hubs whose lines share components in any way, under components that all lines share."""
    probabilities = {f"all {n}": random.uniform(0.001, 0.05) for n in range(of_all)}
    everywhere, checked = frozenset(probabilities), []
    for hub in range(hubs):
        of_hub = [f"hub {hub}.{n}" for n in range(shared)]
        for number in range(lines):
            mine = [f"line {hub}.{number}.{n}" for n in range(own)]
            probabilities |= {name: random.uniform(0.001, 0.05) for name in (*of_hub, *mine)}
            through = everywhere.union(mine, (name for name in of_hub if random.random() < 0.6))
            checked.append(CheckedLine(f"{hub}.{number}", through, Heard.DEAD))
    return probabilities, checked


@pytest.mark.parametrize("hubs", [1, 8])
def test_what_must_be_answered_is(hubs: int) -> None:
    """Six components shared in any way among the lines of a hub, three of all lines, and 1,000 in all.

    Given that all is dead, the chances that nothing of all lines is bad, and that something is, are weighed by hand.
    """
    probabilities, lines = entangled(Random(1), hubs, 64 // hubs, 6, 3, 14)
    answer = blame(probabilities, lines)
    below = [CheckedLine(each.name, frozenset(n for n in each.through if n[:3] != "all"), each.heard) for each in lines]
    hubs_dead = math.prod(
        blame(probabilities, [each for each in below if each.name.startswith(f"{hub}.")]).evidence
        for hub in range(hubs)
    )
    none_of_all = math.prod(1 - probabilities[f"all {n}"] for n in range(3))
    assert answer.evidence == pytest.approx(1 - none_of_all * (1 - hubs_dead), rel=1e-12)
    assert answer.bad["all 1"] == pytest.approx(probabilities["all 1"] / answer.evidence, rel=1e-10)


def test_what_hangs_together_too_much_is_refused() -> None:
    random = Random(2)
    dead = [frozenset(random.sample([f"c{n}" for n in range(40)], 5)) for _ in range(20)]
    groups = groups_of(dead, {f"c{n}": Decimal("0.1") for n in range(40)})
    with pytest.raises(Problem, match=r"^too entangled$"):
        Cases(groups, most=100)
