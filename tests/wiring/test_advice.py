import re

import pytest

from service.kit.problems import Invalid
from service.wiring.advice import SAFETY, Advice, say
from service.wiring.builtin import BUILTIN
from service.wiring.faults import FAULTS, Fault, FaultClass, Faulty
from service.wiring.wirings import Conductor, Wiring, wiring

LANES_1_AND_2 = ("24", "12", "25", "10", "23", "11")


def _said(key: str, fault_class: Faulty, *conductors: str, end: str | None = None) -> Advice:
    return say(BUILTIN[key], Fault(fault_class, conductors, end))


@pytest.mark.parametrize(
    ("key", "fault", "title"),
    [
        ("xlr3", Fault(FaultClass.OPEN, ("2",)), "Conductor 2 (hot) is open"),
        ("xlr3", Fault(FaultClass.OPEN, ("1",), "A"), "Conductor 1 (shield) is open at end A"),
        ("d25-to-xlr8", Fault(FaultClass.OPEN, ("24",)), "Conductor 24 (hot of lane 1) is open"),
        ("trs", Fault(FaultClass.OPEN, ("R",)), "Conductor R (ring, cold) is open"),
        ("d25x8-screened", Fault(FaultClass.OPEN, ("s",)), "The screen is open"),
        (
            "xlr3-bonded",
            Fault(FaultClass.OPEN, ("As",), "A"),
            "The shell at end A is not joined to contact 1",
        ),
        (
            "xlr3",
            Fault(FaultClass.SHORT, ("1", "2"), "B"),
            "Conductor 1 (shield) and conductor 2 (hot) touch at end B",
        ),
        (
            "xlr3",
            Fault(FaultClass.REVERSED_PAIR, ("2", "3")),
            "Conductor 2 (hot) and conductor 3 (cold) are swapped",
        ),
        (
            "8p8c",
            Fault(FaultClass.CROSSED_PAIRS, ("1", "2", "3", "6")),
            "Pair 1 (1/2) and pair 2 (3/6) are crossed",
        ),
        (
            "d25-to-xlr8",
            Fault(FaultClass.CROSSED_LANES, LANES_1_AND_2, lanes=("1", "2")),
            "Lanes 1 and 2 are crossed",
        ),
        (
            "xlr3",
            Fault(FaultClass.MISWIRE, ("1", "2"), destinations=(("1", "B2"), ("2", "B1"))),
            "Miswired: conductor 1 (shield) ends on contact 2 at end B and "
            "conductor 2 (hot) ends on contact 1 at end B",
        ),
        ("xlr3", Fault(FaultClass.OPEN, (), "B"), "An open conductor at end B"),
        (
            "xlr3",
            Fault(FaultClass.MISWIRE, ("1", "2")),
            "Miswired: conductor 1 (shield) and conductor 2 (hot)",
        ),
        ("xlr3", Fault(FaultClass.INTERMITTENT, (), "B"), "Contact that comes and goes at end B"),
        ("xlr3", Fault(FaultClass.HIGH_RESISTANCE, ("3",)), "High resistance: conductor 3 (cold)"),
        ("xlr3", Fault(FaultClass.SPLIT_PAIR, ()), "Split pair"),
        ("xlr3", Fault(FaultClass.DAMAGE, (), "A"), "Damage at end A"),
    ],
)
def test_the_title_names_the_part(key: str, fault: Fault, title: str) -> None:
    assert say(BUILTIN[key], fault).title == title


@pytest.mark.parametrize(
    ("key", "fault_class", "conductors", "words"),
    [
        ("xlr3", FaultClass.OPEN, ("1",), "phantom power stops"),
        ("xlr3", FaultClass.OPEN, ("2",), "Weak and thin, or dead"),
        ("xlr3", FaultClass.OPEN, ("3",), "only hot carries"),
        ("d25x8-screened", FaultClass.OPEN, ("s",), "Every line in the jacket"),
        ("xlr3-bonded", FaultClass.OPEN, ("Bs",), "shell no longer screens"),
        ("xlr3", FaultClass.SHORT, ("1", "2"), "phantom power is pulled down"),
        ("xlr3", FaultClass.SHORT, ("1", "3"), "Weaker, with hum"),
        ("xlr3", FaultClass.SHORT, ("2", "3"), "hot and cold cancel"),
        ("xlr3", FaultClass.SHORT, ("1", "2", "3"), "pulled down to nothing"),
        ("xlr3", FaultClass.SHORT, ("2", "As"), "until the shell touches metal"),
        ("xlr3", FaultClass.SHORT, ("1", "As"), "grounded frame"),
        ("xlr3x8", FaultClass.SHORT, ("1.1", "2.1"), "two shields"),
        ("xlr3x8", FaultClass.SHORT, ("1.2", "2.3"), "bleeds into another"),
        ("xlr3", FaultClass.REVERSED_PAIR, ("2", "3"), "cancel"),
        ("8p8c", FaultClass.CROSSED_PAIRS, ("1", "2", "3", "6"), "wrong channel"),
        ("xlr3", FaultClass.MISWIRE, ("1", "2"), "phantom power arrives the wrong way round"),
        ("xlr3x8", FaultClass.MISWIRE, ("1.2", "2.3"), "Lines are mixed"),
        ("xlr3", FaultClass.SPLIT_PAIR, (), "every continuity test"),
        ("xlr3", FaultClass.HIGH_RESISTANCE, (), "crackles, fades"),
        ("xlr3", FaultClass.INTERMITTENT, (), "drops out"),
        ("xlr3", FaultClass.DAMAGE, (), "Works today"),
    ],
)
def test_on_stage_depends_on_the_role(key: str, fault_class: Faulty, conductors: tuple[str, ...], words: str) -> None:
    assert words in _said(key, fault_class, *conductors).on_stage


def test_crossed_lanes_say_what_comes_up_where() -> None:
    fault = Fault(FaultClass.CROSSED_LANES, LANES_1_AND_2, lanes=("1", "2"))
    assert "plugged into lane 1 comes up on 2" in say(BUILTIN["d25-to-xlr8"], fault).on_stage


SINGLES = wiring(
    ["1", "2", "s"],
    ["1", "2", "s"],
    [Conductor("1", "A1", "B1", "single"), Conductor("2", "A2", "B2", "single")],
)


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        (Fault(FaultClass.OPEN, ("1",)), "Dead."),
        (Fault(FaultClass.SHORT, ("1", "2")), "in the other"),
        (Fault(FaultClass.MISWIRE, ("1", "2"), destinations=(("1", "B2"), ("2", "B1"))), "wrong sound"),
    ],
)
def test_single_conductors_have_their_own_words(fault: Fault, words: str) -> None:
    assert words in say(SINGLES, fault).on_stage


def test_a_proven_end_is_opened_first_and_no_other_is_named() -> None:
    words = _said("xlr3", FaultClass.SHORT, "1", "2", end="A").look_first
    assert words.startswith("At end A, unscrew the back shell of the three-contact connector and go to contact 1")
    assert "end B" not in words


def test_where_no_end_is_proven_it_says_why_b_comes_first_and_what_tells() -> None:
    words = _said("xlr3", FaultClass.OPEN, "2").look_first
    assert "Either end may hold it; plugs are pulled" in words
    assert "capacitance read at both ends" in words
    assert "go to end A" in words


def test_a_fan_out_starts_at_its_single_connectors() -> None:
    words = _said("d25-to-xlr8", FaultClass.OPEN, "24").look_first
    assert "single connectors take the pulls" in words
    assert "three-contact connector 1 and go to contact 2" in words


def test_lanes_that_touch_in_a_fan_out_can_only_meet_at_the_multicore() -> None:
    words = _said("d25-to-xlr8", FaultClass.SHORT, "24", "10").look_first
    assert "Only in the jacket and at end A" in words
    assert "bent or pushed-back contact" in words


def test_a_shell_is_looked_for_at_its_own_end() -> None:
    assert _said("xlr3", FaultClass.SHORT, "2", "As").look_first.startswith("At end A")


@pytest.mark.parametrize(
    ("key", "end", "words"),
    [
        ("trs", "B", "unscrew the barrel"),
        ("d25x8", "A", "before you take the hood off"),
        ("8p8c", "B", "replaced, not mended"),
        ("d25-to-xlr8", "B", "each three-contact connector"),
    ],
)
def test_how_to_open_depends_on_the_connector(key: str, end: str, words: str) -> None:
    assert words in _said(key, FaultClass.DAMAGE, end=end).look_first


def test_swaps_are_looked_for_where_somebody_soldered() -> None:
    words = _said("xlr3", FaultClass.REVERSED_PAIR, "2", "3").look_first
    assert "repaired last" in words
    assert "labels" not in words
    crossed = Fault(FaultClass.CROSSED_LANES, LANES_1_AND_2, lanes=("1", "2"))
    assert "labels changed places" in say(BUILTIN["d25-to-xlr8"], crossed).look_first


def test_a_name_that_the_wiring_lacks_is_refused() -> None:
    with pytest.raises(Invalid, match="“24”"):
        _said("xlr3", FaultClass.OPEN, "24")


def _examples(made: Wiring) -> list[Fault]:
    names = [conductor.name for conductor in made.conductors]
    pair = next(iter(made.pairs.values()))
    faults = [Fault(FaultClass.OPEN, (name,)) for name in names]
    faults += [Fault(FaultClass.SHORT, (one, names[-1]), end) for one in names[:-1] for end in (None, "A", "B")]
    faults += [Fault(FaultClass.SHORT, (names[0], contact)) for contact in made.loose_contacts]
    faults.append(Fault(FaultClass.REVERSED_PAIR, (pair[0].name, pair[1].name)))
    first, last = made.conductors[0], made.conductors[-1]
    faults.append(
        Fault(FaultClass.MISWIRE, (first.name, last.name), destinations=((first.name, last.b), (last.name, first.b)))
    )
    return [*faults, *(Fault(kind, (), end) for kind in FAULTS for end in (None, "A", "B"))]


@pytest.mark.parametrize("key", BUILTIN)
def test_every_fault_of_every_wiring_gets_four_whole_texts(key: str) -> None:
    for fault in _examples(BUILTIN[key]):
        said = say(BUILTIN[key], fault)
        assert said.title[0].isupper()
        assert not said.title.endswith((".", " ", ":"))
        for words in (said.on_stage, said.look_first, said.after_repair):
            assert re.fullmatch(r"[A-Z].*[.]", words), words
            assert "  " not in words
            assert "{" not in words
        assert said.after_repair.startswith(SAFETY)


def test_no_class_is_forgotten() -> None:
    lanes = Fault(FaultClass.CROSSED_LANES, LANES_1_AND_2, lanes=("1", "2"))
    pairs = Fault(FaultClass.CROSSED_PAIRS, ("24", "12", "10", "23"))
    made = BUILTIN["d25-to-xlr8"]
    said = {fault.fault_class: say(made, fault).after_repair for fault in [*_examples(made), lanes, pairs]}
    assert said.keys() == set(FAULTS)
    assert len(set(said.values())) == len(said)


@pytest.mark.parametrize(
    ("key", "end", "goals", "title", "first"),
    [
        (
            "xlr3",
            "B",
            {"1": "Bs"},
            "Conductor 1 (shield) is on the shell's tag at end B",
            "At end B, unscrew the back shell of the three-contact connector and go to the shell: ",
        ),
        (
            "xlr3",
            "A",
            {"2": "As"},
            "Conductor 2 (hot) is on the shell's tag at end A",
            "At end A, unscrew the back shell of the three-contact connector and go to the shell: ",
        ),
        (
            "8p8c-to-xlr4",
            "B",
            {"s2": "B1.s"},
            "Conductor s2 (shield of lane 2) is on the shell's tag of connector 1 at end B",
            "At end B, unscrew the back shell of three-contact connector 1 and go to the shell: ",
        ),
        (
            "d25x8",
            "B",
            {"24": "B13"},
            "Conductor 24 (hot of lane 1) is on contact 13 at end B",
            "At end B, check the 25-way D connector for a bent or pushed-back contact before you take the hood off and "
            "go to contact 13: ",
        ),
        (
            "xlr3",
            "B",
            {"1": "Bs", "2": "B1"},
            "Miswired: conductor 1 (shield) is on the shell's tag at end B and conductor 2 (hot) is on contact 1 at "
            "end B",
            "At end B, unscrew the back shell of the three-contact connector and go to contact 1 and the shell: ",
        ),
    ],
)
def test_a_wire_on_a_contact_of_no_conductor_is_looked_for_where_it_is(
    key: str, end: str, goals: dict[str, str], title: str, first: str
) -> None:
    fault = Fault(FaultClass.MISWIRE, tuple(goals), end, destinations=tuple(goals.items()))
    said = say(BUILTIN[key], fault)
    assert said.title == title
    assert said.look_first.startswith(first), said.look_first
    assert " and belongs on contact " in said.look_first
    assert re.fullmatch(r"[A-Z].*[.]", said.on_stage)
    assert said.after_repair.startswith(SAFETY)
