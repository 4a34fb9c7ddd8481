"""Words in a fault column: a conductor only where they name one exactly, and never a word lost."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.exchange.sheets.core.conductors import conductor_words
from service.exchange.sheets.core.faults import interpret_words
from service.gear.core import End
from service.wiring.builtin import BUILTIN
from service.wiring.faults import Fault, FaultClass, Faulty
from service.wiring.naming import title
from service.wiring.singles import single_faults

XLR = BUILTIN["xlr3"]

NOUNS = st.sampled_from(["pin ", "Pin", "conductor ", "CONTACT ", "pin #", "contacts ", "#"])
NUMBERS = st.sampled_from(["1", "2", "3"])
TWO = st.permutations(["1", "2", "3"]).map(lambda three: tuple(three[:2]))
JOINS = st.sampled_from([" and ", " to ", "-", " – ", "/", ", ", ", and ", " & "])
AFTER = st.sampled_from(["", ".", " at B", " at the plug", ", cracked boot", "; ", " (female end)", " since the rain"])
DENIALS = st.sampled_from(["no ", "not ", "Never ", "isn't ", "without "])
WORDS = st.sampled_from(
    ["dead", "open", "short", "shorted", "broken wire", "polarity", "swapped", "reversed", "touches"]
)
PROSE = st.lists(
    st.sampled_from(
        [
            "after",
            "3",
            "2",
            "1",
            "shows",
            "inch",
            "ft",
            "weeks",
            "the",
            "cable",
            "channel",
            "1/4",
            "cut",
            "jacket",
            "cap",
            "2 days",
            "at 3 m",
            "ok",
            "song",
            "2.5",
        ]
    ),
    max_size=5,
).map(" ".join)
ANYTHING = st.one_of(
    st.text(max_size=120),
    st.lists(
        st.one_of(WORDS, PROSE, NOUNS, JOINS, NUMBERS, DENIALS, st.sampled_from([";", "or", "#", "?", "no signal"])),
        max_size=9,
    ).map(" ".join),
)


@pytest.mark.parametrize(
    ("words", "fault_class", "conductors"),
    [
        ("open 2", FaultClass.OPEN, ("2",)),
        ("Pin 2 open at B", FaultClass.OPEN, ("2",)),
        ("no continuity on pin 3", FaultClass.OPEN, ("3",)),
        ("dead pin 2", FaultClass.OPEN, ("2",)),
        ("broken wire at pin 2", FaultClass.OPEN, ("2",)),
        ("#2 open", FaultClass.OPEN, ("2",)),
        ("pin 2 on female end is open", FaultClass.OPEN, ("2",)),
        ("short 2-3", FaultClass.SHORT, ("2", "3")),
        ("short between 2 and 3", FaultClass.SHORT, ("2", "3")),
        ("pin 2 shorted to pin 3", FaultClass.SHORT, ("2", "3")),
        ("short 1 to 3", FaultClass.SHORT, ("1", "3")),
        ("pins 1, 2 and 3 touch", FaultClass.SHORT, ("1", "2", "3")),
        ("pins 2 and 3 swapped", FaultClass.REVERSED_PAIR, ("2", "3")),
        ("polarity reversed", FaultClass.REVERSED_PAIR, ("2", "3")),
        ("out of phase", FaultClass.REVERSED_PAIR, ("2", "3")),
        ("Shield open", FaultClass.OPEN, ("1",)),
        ("shield wire broken", FaultClass.OPEN, ("1",)),
        ("pin 1 broken", FaultClass.OPEN, ("1",)),
        ("Pin 3 is disconnected", FaultClass.OPEN, ("3",)),
        ("hot open", FaultClass.OPEN, ("2",)),
        ("the ground is open", FaultClass.OPEN, ("1",)),
        ("broken shield", FaultClass.OPEN, ("1",)),
        ("hot shorted to shield", FaultClass.SHORT, ("1", "2")),
        ("pin 2 to shell", FaultClass.SHORT, ("2", "As", "Bs")),
        ("pin 2 to shell at B", FaultClass.SHORT, ("2", "Bs")),
        ("Pin 3 shorted to the shell, end A", FaultClass.SHORT, ("3", "As")),
        ("hot and cold reversed", FaultClass.REVERSED_PAIR, ("2", "3")),
    ],
)
def test_what_names_its_conductors_is_read(words: str, fault_class: FaultClass, conductors: tuple[str, ...]) -> None:
    [found] = interpret_words(words, XLR).faults
    assert (found.fault_class, set(found.conductors)) == (fault_class, set(conductors))
    assert not interpret_words(words, XLR).evidence


@pytest.mark.parametrize(
    "words",
    [
        "dead after 3 shows",
        "no short between 2 and 3",
        "broken wire 1 inch",
        "polarity ok, cut jacket",
        "open 2 inches from the plug",
        "open 2 places",
        "open on 2 occasions",
        "short 2 ft in",
        "swapped 2 weeks ago",
        "swapped the plug",
        "polarity checked",
        "pin 1 or 2 open",
        "open 2 or 3",
        "maybe pin 2 open",
        "pin 2 open?",
        "pin 2 not open",
        "pin 2 isn't open",
        "pin 2 open, pin 3 ok",
        "pins 1-3 shorted",
        "pins 1, 2 and 3 open",
        "cable #3 dead",
        "pin 2 open and pin 3 open",
        "pin 2 open, 3 shorted",
        "short 3 m cable",
        "open 2.5 m in",
        "3 pin connector open",
        "pin 3 replaced, dead again",
        "short on channel 2 and 3",
        "pin 7 open",
        "pin 2 opens when bent",
        "touch up pins 2 and 3",
        "open pin 2 3",
        "pin 1 broken off",
        "pin 2 open, broken boot and pin 3 bent",
        "cold joint",
        "cold solder joint at pin 2",
        "shell",
        "shell cracked",
        "shield ok, pin 2 bent",
        "shield pin 1 open",
        "pin 2 to pin 3",
        "shell loose",
        "ring bent",
    ],
)
def test_what_does_not_stays_words(words: str) -> None:
    found = interpret_words(words, XLR)
    assert found.faults == ()
    assert [one.note for one in found.evidence] == [words]


@pytest.mark.parametrize(
    ("words", "kind"),
    [
        ("crackles", FaultClass.INTERMITTENT),
        ("no noise, cut jacket", FaultClass.DAMAGE),
        ("resistance ok, bent shell", FaultClass.DAMAGE),
        ("no signal, crackles", FaultClass.INTERMITTENT),
        ("not working, noisy", FaultClass.INTERMITTENT),
        ("pin 2 opens when bent", FaultClass.DAMAGE),
    ],
)
def test_what_is_denied_is_not_what_was_found(words: str, kind: FaultClass) -> None:
    assert [one.kind for one in interpret_words(words, XLR).evidence] == [kind]


@given(NOUNS, NUMBERS, AFTER)
def test_an_open_that_is_named_is_read_however_it_is_written(noun: str, number: str, after: str) -> None:
    expected = (Fault(FaultClass.OPEN, (number,), None),)
    for words in (f"{noun}{number} open{after}", f"Open {noun}{number}{after}", f"OPEN {number}{after}"):
        if "since" in after and not words.startswith(noun):
            continue  # what follows the number might belong to it: "open 2 since …"
        assert interpret_words(words, XLR).faults == expected, words


@given(NOUNS, TWO, JOINS, AFTER.filter(lambda after: "since" not in after))
def test_a_short_takes_the_numbers_that_are_joined(noun: str, two: tuple[str, str], join: str, after: str) -> None:
    one, other = two
    for words in (
        f"short {one}{join}{other}{after}",
        f"{noun}{one}{join}{noun}{other} shorted{after}",
        f"{noun}{one} shorted to {noun}{other}{after}",
    ):
        [fault] = interpret_words(words, XLR).faults
        assert (fault.fault_class, set(fault.conductors)) == (FaultClass.SHORT, {one, other}), words


@given(
    DENIALS,
    st.sampled_from(["pin 2 open", "open 2", "short 2-3", "pins 2 and 3 swapped", "polarity reversed"]),
)
def test_what_is_denied_is_never_a_fault(denial: str, words: str) -> None:
    assert interpret_words(denial + words, XLR).faults == ()
    assert interpret_words(f"{words} {denial}", XLR).faults == ()
    assert interpret_words(f"{words} ok", XLR).faults == ()


CALLED = re.compile(
    r"(?i)(?:pin|conductor|contact)s? ?(?:no\.? ?)?#? ?\d|#\s*\d"
    r"|(?:opens?|circuit|shorts?|shorted|reversed?|swapped|inverted|between|from|on|[:=])\s*#?\s*\d"
)
DENIED = re.compile(r"(?i)\b(?:not|never|ok)\b|n't\b")


def names_in(words: str) -> tuple[str, ...]:
    found = conductor_words(words)
    return found.names if found else ()


@given(
    st.sampled_from(["open on ", "open "]), st.sampled_from(["pin ", "conductor ", "#"]), st.sampled_from(["", " at B"])
)
def test_a_number_that_is_called_a_conductor_is_one(fault: str, call: str, after: str) -> None:
    assert names_in(f"{fault}{call}2{after}") == ("2",)


@pytest.mark.parametrize("words", ["open after 2 shows", "short 3 ft", "broken wire 2 weeks", "pin 2 not open"])
@given(after=AFTER)
def test_other_numbers_are_no_conductors(words: str, after: str) -> None:
    assert names_in(words + after) == ()


@given(ANYTHING)
def test_no_number_is_a_conductor_unless_it_is_called_one(words: str) -> None:
    names = names_in(words)
    assert not names or CALLED.search(words)
    assert not names or not DENIED.search(words)


@pytest.mark.parametrize(
    "again",
    [
        "pin 2, ",
        "pin 2 and ",
        "2 and ",
        "open ",
        "pin 2 is ",
        "2-3-",
        "# ",
        "pin 2 at a end ",
        "no ",
        "1",
        "wire # 2, ",
        "pin 2 : ",
        "short ",
        "pins 1, and #2 ",
    ],
)
def test_a_cell_full_of_the_same_is_read_at_once(again: str) -> None:
    # As long as a cell may be. What takes a riddle's time never ends here; told in milliseconds, it is not timed.
    for words in (again * 300, f"short {again * 300}", f"pins 2{again * 300}x"):
        assert interpret_words(words[:1000], XLR).faults == ()


@given(ANYTHING, st.sampled_from(sorted(BUILTIN)), st.sampled_from([None, End.A, End.B]))
def test_every_part_is_a_fault_or_kept_as_words(words: str, key: str, end: End | None) -> None:
    wiring = BUILTIN[key]
    found = interpret_words(words, wiring, end)
    parts = [" ".join(part.split()) for part in re.split(r"[;\n]", words) if part.strip()]
    kept = [one.note for one in found.evidence]
    assert len(found.faults) <= len(parts)  # a fault may be told twice
    assert len(kept) <= len(parts) if end else len(kept) + len(found.faults) <= len(parts)
    for part in parts:
        assert part[:200] in kept or conductor_words(part) is not None, part
    for fault in found.faults:
        assert set(fault.conductors) <= set(wiring.by_name)
    if end is not None:
        assert {one.end for one in found.evidence} <= {end}


def test_what_is_called_by_what_it_carries_is_a_contact_of_that_wiring() -> None:
    def found(words: str, key: str) -> list[tuple[str, tuple[str, ...]]]:
        return [(one.fault_class.value, one.conductors) for one in interpret_words(words, BUILTIN[key]).faults]

    assert found("sleeve open", "trs") == [("open", ("S",))]
    assert found("tip and ring reversed", "trs") == [("reversed_pair", ("T", "R"))]
    assert found("shield open", "xlr3x8") == []  # of which of the eight?
    assert found("3.2 open", "xlr3x8") == []
    assert found("pin 3.2 to shell at B", "xlr3x8") == [("short", ("3.2", "B3.s"))]
    assert found("pin 2 to shell", "xlr3-bonded") == [("short", ("2", "1"))]  # its shells are on contact 1


@pytest.mark.parametrize("key", ["xlr3", "trs", "xlr3-to-trs", "d25x8", "8p8c", "xlr3x8"])
def test_what_the_log_says_of_conductors_is_read_as_it_was_meant(key: str) -> None:
    wiring = BUILTIN[key]
    numbered = [wire.name for wire in wiring.conductors if wire.name[0].isdigit()]
    cases: list[tuple[Faulty, tuple[str, ...]]] = [
        *((FaultClass.OPEN, (name,)) for name in numbered),
        *((FaultClass.SHORT, tuple(numbered[at : at + 2])) for at in range(len(numbered) - 1)),
    ]
    for fault_class, names in cases:
        found = conductor_words(title(wiring, Fault(fault_class, names)))
        assert found is not None
        assert found.names == names


@pytest.mark.parametrize("key", ["xlr3", "xlr3-bonded", "8p8c-to-xlr4"])
def test_what_the_log_says_of_moved_wires_comes_back_as_that(key: str) -> None:
    """A wire on the shell's tag, two that are exchanged, a shell that lost its contact: with where they go."""
    wiring = BUILTIN[key]
    moved = [
        fault for fault in single_faults(wiring) if fault.destinations or fault.conductors[0] not in wiring.by_name
    ]
    assert any(fault.is_chain for fault in moved)
    for fault in moved:
        if fault.fault_class is not FaultClass.SHORT:
            assert interpret_words(title(wiring, fault), wiring).faults == (fault,)
