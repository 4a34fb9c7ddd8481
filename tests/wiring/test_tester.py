import pytest

from service.kit.problems import Invalid
from service.wiring import tester
from service.wiring.builtin import BUILTIN
from service.wiring.coverage import not_proven
from service.wiring.tester import make_tester
from service.wiring.wirings import read

XLR3 = BUILTIN["xlr3"]
GOOD = [["A1", "B1"], ["A2", "B2"], ["A3", "B3"]]
SHORTED = [["A1", "B1", "A2", "B2"], ["A3", "B3"]]
OPEN_2 = [["A1", "B1"], ["A3", "B3"]]
TURNED = [["A1", "B1"], ["A2", "B3"], ["A3", "B2"]]


def _tester(**patterns: list[list[list[str]]]) -> tester.Tester:
    return make_tester("Bench lamps", XLR3, "cross", patterns)


def test_a_pattern_gives_all_readings_that_it_may_mean() -> None:
    lamps = _tester(green=[GOOD], red=[OPEN_2, TURNED])
    assert lamps.readings_for("red") == (read(XLR3, OPEN_2), read(XLR3, TURNED))
    assert lamps.readings_for("green") == (read(XLR3, GOOD),)


def test_what_hides_behind_the_good_pattern_is_kept_and_not_proven() -> None:
    lamps = _tester(green=[GOOD, TURNED], red=[OPEN_2])
    assert lamps.mistaken == {read(XLR3, TURNED)}
    assert "a reversed pair" in not_proven(XLR3, lamps.sees, lamps.mistaken)
    assert "a reversed pair" not in not_proven(XLR3, lamps.sees)


def test_a_pattern_of_faults_only_hides_nothing() -> None:
    assert _tester(green=[GOOD], red=[SHORTED, OPEN_2]).mistaken == frozenset()


def test_a_tester_that_reaches_few_contacts_still_knows_a_good_cable() -> None:
    lamps = make_tester("Bench lamps", XLR3, "straight", {"two lit": [[["A2", "B2"]]]}, ["A2", "B2", "A3"])
    assert lamps.mistaken == frozenset()


def test_an_unknown_pattern_is_refused_with_those_there_are() -> None:
    with pytest.raises(Invalid, match="Bench lamps has no pattern “blue”; it has “green” and “red”"):
        _tester(green=[GOOD], red=[OPEN_2]).readings_for("blue")


@pytest.mark.parametrize(
    ("call", "word"),
    [
        (lambda: make_tester(" ", XLR3, "cross", {"green": [GOOD]}), "needs a name"),
        (lambda: make_tester("x" * 61, XLR3, "cross", {"green": [GOOD]}), "1 to 60"),
        (lambda: make_tester("Lamps", XLR3, "everything", {"green": [GOOD]}), "“everything”"),
        (lambda: make_tester("Lamps", XLR3, "listening", {"green": [GOOD]}), "“listening”"),
        (lambda: make_tester("Lamps", XLR3, "cross", {}), "at least one"),
        (lambda: make_tester("Lamps", XLR3, "cross", {" ": [GOOD]}), "needs words"),
        (lambda: make_tester("Lamps", XLR3, "cross", {"green": []}), "“green” needs"),
        (lambda: make_tester("Lamps", XLR3, "cross", {"green": [GOOD], "green ": [OPEN_2]}), "same words"),
        (lambda: make_tester("Lamps", XLR3, "cross", {"green": [[["A1", "B9"]]]}), "B9"),
    ],
)
def test_a_tester_that_makes_no_sense_is_refused(call: object, word: str) -> None:
    assert callable(call)
    with pytest.raises(Invalid, match=word):
        call()
