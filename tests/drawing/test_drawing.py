"""The drawing of a cable says what the readings say: where its lines lead, which of them are broken or joined.

The lines of a drawing are followed here with a finger, by their coordinates, and what they conduct is compared with
the cable rebuilt from the same faults.
"""

import re
from collections.abc import Iterator, Sequence
from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.drawing.findings import LineKind, Tone
from service.drawing.layout import WIDTH, as_found
from service.drawing.shapes import Contact, Drawing, TextLabel
from service.wiring.builtin import BUILTIN
from service.wiring.faults import SWAPS, Fault, FaultClass, Faulty, rebuild
from service.wiring.naming import conductor_words, contact_words, title
from service.wiring.own import LARGEST
from service.wiring.singles import single_faults
from service.wiring.wirings import Conductor, Readings, Wiring, merge, names, wiring

LETTER = 6.6  # units: about the mean width of a bold letter; what a browser makes of it is tested on a phone
EVIDENCE: list[Faulty] = [FaultClass.SPLIT_PAIR, FaultClass.HIGH_RESISTANCE, FaultClass.INTERMITTENT, FaultClass.DAMAGE]
Box = tuple[float, float, float, float]


@st.composite
def one_fault(draw: st.DrawFn, line: Wiring) -> Fault:
    """A fault of any class that the wiring can have."""
    wires = [wire.name for wire in line.conductors]
    lanes = [lane for lane, held in line.lanes.items() if len(held) > 1]
    kinds: list[Faulty] = [FaultClass.OPEN, FaultClass.SHORT, FaultClass.MISWIRE, *EVIDENCE]
    kinds += [FaultClass.REVERSED_PAIR] if line.pairs else []
    kinds += [FaultClass.CROSSED_PAIRS] if len(line.pairs) > 1 else []
    kinds += [FaultClass.CROSSED_LANES] if len(lanes) > 1 else []
    kind = draw(st.sampled_from(kinds))
    if kind is FaultClass.OPEN:
        name = draw(st.sampled_from([*wires, *(bond.later for bond in line.bonds)]))
        end = draw(st.sampled_from([None, "A", "B"])) if name in wires else name[0]
        return Fault(kind, (name,), end)
    if kind is FaultClass.SHORT:
        end = draw(st.sampled_from([None, "A", "B"]))
        bare = [contact for contact in line.loose_contacts if end in (None, contact[0])]
        names = draw(st.lists(st.sampled_from([*wires, *bare]), min_size=2, max_size=4, unique=True))
        return Fault(kind, tuple(names), end)
    if kind is FaultClass.MISWIRE and draw(st.booleans()) and line.loose_contacts:
        return draw(chains(line))
    if kind is FaultClass.MISWIRE:
        free = [wire for wire in line.conductors if [other.b for other in line.conductors].count(wire.b) == 1]
        ring = draw(st.lists(st.sampled_from(free), min_size=2, max_size=3, unique=True))
        destinations = tuple((one.name, other.b) for one, other in zip(ring, ring[1:] + ring[:1], strict=True))
        return Fault(kind, tuple(name for name, _ in destinations), None, None, destinations)
    if kind in EVIDENCE:
        names = draw(st.lists(st.sampled_from(wires), max_size=2, unique=True))
        return Fault(kind, tuple(names), draw(st.sampled_from([None, "A", "B"])))
    groups = line.lanes if kind is FaultClass.CROSSED_LANES else line.pairs
    among = lanes if kind is FaultClass.CROSSED_LANES else list(groups)
    count = 1 if kind is FaultClass.REVERSED_PAIR else 2
    chosen = draw(st.lists(st.sampled_from(among), min_size=count, max_size=count, unique=True))
    held = tuple(wire.name for lane in chosen for wire in groups[lane])
    return Fault(kind, held, None, tuple(chosen) if kind is FaultClass.CROSSED_LANES else None)


@st.composite
def chains(draw: st.DrawFn, line: Wiring) -> Fault:
    """Wires that moved on by one at one end, the last to a contact of no conductor."""
    tag = draw(st.sampled_from(line.loose_contacts))
    at = {wire.name: wire.a if tag[0] == "A" else wire.b for wire in line.conductors}
    alone = [name for name in at if list(at.values()).count(at[name]) == 1]
    moved = draw(st.lists(st.sampled_from(alone), min_size=1, max_size=2, unique=True))
    goals = dict(zip(moved, [*(at[name] for name in moved[1:]), tag], strict=True))
    names = tuple(name for name in at if name in goals)
    return Fault(FaultClass.MISWIRE, names, tag[0], destinations=tuple((name, goals[name]) for name in names))


@st.composite
def cases(draw: st.DrawFn, most: int = 3) -> tuple[Wiring, Readings, list[Fault]]:
    """A wiring, faults of it, one open a conductor, and what was probed of it."""
    line = BUILTIN[draw(st.sampled_from(sorted(BUILTIN)))]
    faults: list[Fault] = []
    for fault in draw(st.lists(one_fault(line), max_size=most)):
        again = [one for one in faults if one.fault_class is fault.fault_class is FaultClass.OPEN]
        if fault not in faults and all(one.conductors != fault.conductors for one in again):
            faults.append(fault)
    every = (1 << len(line.all_contacts)) - 1
    probed = draw(st.one_of(st.just(every), st.integers(0, every)))
    return line, rebuild(line, faults).within(probed), faults


def box_of(label: TextLabel) -> Box:
    wide = LETTER * len(label.text)
    left = label.x - wide if label.anchor == "end" else label.x
    return (left, label.y - 11, left + wide, label.y + 3)


def box_of_contact(contact: Contact) -> Box:
    half = contact.width / 2
    return (contact.x - half, contact.y - 12, contact.x + half, contact.y + 12)


def meet(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def numbers(path: str) -> list[float]:
    return [float(number) for number in re.findall(r"-?\d+(?:\.\d+)?", path)]


def ends_of(path: str) -> tuple[tuple[float, float], tuple[float, float]]:
    """Where a line starts and where it arrives."""
    found = numbers(path)
    return (found[0], found[1]), (found[-2], found[-1])


def at(drawing: Drawing, end: str, x: float, y: float) -> str:
    """The contact whose edge is at this place."""
    [name] = {
        one.name
        for one in drawing.contacts
        if one.name[0] == end and abs(one.y - y) < 0.2 and abs(abs(one.x - x) - one.width / 2) < 0.2
    }
    return name


def conducts(line: Wiring, drawing: Drawing) -> list[set[str]]:
    """The contacts that the drawing joins, its lines followed from contact to contact.

    A joint belongs to the half of a broken line that it touches. What is folded is taken as good.
    """
    links: list[set[str]] = []
    gaps = {mark.names[0]: sum(numbers(mark.path)[::2]) / 4 for mark in drawing.marks if mark.kind == "gap"}
    for wire in drawing.wires:
        (x, y), (to_x, to_y) = ends_of(wire.path)
        links += [{at(drawing, "A", x, y), f"{wire.name}<"}, {at(drawing, "B", to_x, to_y), f"{wire.name}>"}]
        if wire.name not in gaps:
            links.append({f"{wire.name}<", f"{wire.name}>"})
    for mark in drawing.marks:
        if mark.kind == "joint":
            halves = zip(mark.names, mark.dots, strict=True)
            links.append(
                {
                    (f"{name}<" if x < gaps.get(name, WIDTH) else f"{name}>") if name in line.by_name else name
                    for name, (x, _) in halves
                }
            )
    drawn = {wire.name for wire in drawing.wires}
    links += [{wire.a, wire.b} for wire in line.conductors if wire.name not in drawn]
    gone = {link.later for link in drawing.links if link.cross}
    links += [{bond.earlier, bond.later} for bond in line.bonds if bond.later not in gone]
    groups: list[set[str]] = []
    for link in links:
        touching = [group for group in groups if group & link]
        groups = [group for group in groups if group not in touching] + [link.union(*touching)]
    return groups


@given(cases())
def test_drawn_lines_conduct_as_the_cable_does(case: tuple[Wiring, Readings, list[Fault]]) -> None:
    line, readings, faults = case
    drawing = as_found(line, readings, faults)
    masks = [sum(line.bit.get(name, 0) for name in group) for group in conducts(line, drawing)]
    assert merge(masks) == rebuild(line, faults).groups


@given(cases())
def test_what_the_faults_name_is_marked_and_said(case: tuple[Wiring, Readings, list[Fault]]) -> None:
    line, readings, faults = case
    drawing = as_found(line, readings, faults)
    said = " ".join(drawing.sentences)
    wires = {wire.name: wire for wire in drawing.wires}
    signed = {name for mark in drawing.marks for name in mark.names}
    signed |= {link.later for link in drawing.links if link.cross}
    for fault in faults:
        assert f"{title(line, fault)}." in drawing.sentences
        for name in fault.conductors:
            if fault.fault_class not in (
                FaultClass.CROSSED_PAIRS,
                FaultClass.CROSSED_LANES,
            ):  # by pair or lane
                assert conductor_words(line, name).lower() in said.lower()
            contacts = {line.by_name[name].a, line.by_name[name].b} if name in line.by_name else {name}
            assert all(any(c.fault for c in drawing.contacts if c.name == contact) for contact in contacts)
            if name in wires:
                assert wires[name].kind not in (LineKind.GOOD, LineKind.UNTESTED, LineKind.PLANNED)
            assert name in signed or fault.fault_class in SWAPS
    if not faults:
        assert all(wire.kind in (LineKind.GOOD, LineKind.UNTESTED) for wire in drawing.wires)
        assert not drawing.marks
        assert not [label for label in drawing.labels if label.tone == Tone.FAULT]


@given(cases())
def test_who_goes_elsewhere_has_an_arrow_and_a_ghost(case: tuple[Wiring, Readings, list[Fault]]) -> None:
    line, readings, faults = case
    drawing = as_found(line, readings, faults)
    for wire in drawing.wires:
        start, stop = ends_of(wire.path)
        starts, lands = at(drawing, "A", *start), at(drawing, "B", *stop)
        own = line.by_name[wire.name]
        assert bool(wire.arrow) == bool(wire.ghost) == ((starts, lands) != (own.a, own.b))
        if wire.ghost:
            assert wire.kind is LineKind.ELSEWHERE
            if starts != own.a:
                assert at(drawing, "A", *ends_of(wire.ghost)[0]) == own.a
            if lands != own.b:
                assert at(drawing, "B", *ends_of(wire.ghost)[1]) == own.b
            assert contact_words(starts) in wire.title
            assert contact_words(lands) in wire.title
            assert wire.title.partition(".")[0] in " ".join(drawing.sentences)
    assert bool(drawing.key) == any(wire.ghost for wire in drawing.wires)


@given(cases())
def test_what_was_not_tested_shows(case: tuple[Wiring, Readings, list[Fault]]) -> None:
    line, readings, faults = case
    drawing = as_found(line, readings, faults)
    missed = set(names(line, ~readings.probed & ((1 << len(line.all_contacts)) - 1)))
    assert all(contact.tested == (contact.name not in missed) for contact in drawing.contacts)
    faulty = {name for fault in faults for name in fault.conductors}
    untested = [wire for wire in line.conductors if {wire.a, wire.b} & missed and wire.name not in faulty]
    said = next((text for text in drawing.sentences if text.startswith("Not tested: ")), "")
    for wire in untested:
        part = f"lane {wire.lane}" if line.lanes else f"pair {wire.pair}"
        assert re.search(rf"{re.escape(conductor_words(line, wire.name))}|\b{part}\b", said)
    drawn = {wire.name: wire.kind for wire in drawing.wires}
    assert {wire.name for wire in untested} >= {name for name, kind in drawn.items() if kind is LineKind.UNTESTED}
    assert all(drawn.get(wire.name, LineKind.UNTESTED) is LineKind.UNTESTED for wire in untested)
    if missed:
        assert said
        assert any(not contact.tested for contact in drawing.contacts) or any(
            "not tested" in label.text for label in drawing.labels
        )
    else:
        assert not said


def boxes(drawing: Drawing) -> Iterator[Box]:
    yield from map(box_of, drawing.labels)
    # Of a contact that is drawn in several rows, each is a box of its own.
    yield from map(box_of_contact, drawing.contacts)


@given(cases(most=5))
def test_words_and_contacts_keep_clear_of_each_other(case: tuple[Wiring, Readings, list[Fault]]) -> None:
    drawing = as_found(*case)
    tidy(drawing)


def tidy(drawing: Drawing) -> None:
    every = list(boxes(drawing))
    assert [pair for pair in combinations(every, 2) if meet(*pair)] == []
    for left, top, right, bottom in every:
        assert left >= 0
        assert top >= 0
        assert right <= WIDTH
        assert bottom <= drawing.height


@pytest.mark.parametrize("key", BUILTIN)
def test_words_keep_clear_of_signs(key: str) -> None:
    line = BUILTIN[key]
    shorts = [fault for fault in single_faults(line) if fault.fault_class is FaultClass.SHORT]
    strands = 0
    for short in shorts[:: len(shorts) // 20 + 1]:
        drawing = as_found(line, rebuild(line, [short]), [short])
        for mark in drawing.marks:
            xs, ys = [x for x, _ in mark.dots], [y for _, y in mark.dots]
            if mark.kind == "joint" and len(set(xs)) == 1:
                strands += 1
                strand = (xs[0] - 4.5, min(ys), xs[0] + 4.5, max(ys))
                assert [label for label in drawing.labels if meet(strand, box_of(label))] == []
    assert strands


@pytest.mark.parametrize("key", BUILTIN)
def test_good_lanes_are_a_line_each(key: str) -> None:
    line = BUILTIN[key]
    drawing = as_found(line, rebuild(line, []), [])
    folded = [label.text for label in drawing.labels if label.tone == "head"]
    if len(line.lanes) > 1:
        assert folded[: len(line.lanes)] == [f"Lane {lane}" for lane in line.lanes]
        assert drawing.wires == ()
        assert len(drawing.strands) == len(folded)
    assert [text for text in drawing.sentences if not text.startswith("Good: ")] == []
    tidy(drawing)


def test_only_lanes_with_something_to_see_are_drawn() -> None:
    line = BUILTIN["d25x8"]
    faults = [Fault(FaultClass.OPEN, ("22",))]
    drawing = as_found(line, rebuild(line, faults), faults)
    assert {wire.name for wire in drawing.wires} == {"9", "21", "22"}
    assert drawing.sentences == (
        "Conductor 22 (shield of lane 3) is open.",
        "Good: lane 1, lane 2, conductor 9 (cold of lane 3), conductor 21 (hot of lane 3), lane 4, lane 5, lane 6, "
        "lane 7 and lane 8.",
    )


def test_a_reversed_pair_in_words() -> None:
    line = BUILTIN["xlr3"]
    faults = [Fault(FaultClass.REVERSED_PAIR, ("2", "3"))]
    drawing = as_found(line, rebuild(line, faults), faults)
    assert drawing.sentences == (
        "Conductor 2 (hot) and conductor 3 (cold) are swapped.",
        "Conductor 2 (hot) goes from contact 2 at end A to contact 3 at end B; it belongs on contact 2.",
        "Conductor 3 (cold) goes from contact 3 at end A to contact 2 at end B; it belongs on contact 3.",
        "Good: conductor 1 (shield).",
    )
    assert [label.text for label in drawing.labels] == [
        "shield, good",
        "→ 3 reversed",
        "→ 2 reversed",
        "shell",
        "as it should be",
    ]


@pytest.mark.parametrize("end", ["A", "B"])
def test_a_wire_on_the_shell_s_tag(end: str) -> None:
    line = BUILTIN["xlr3"]
    faults = [Fault(FaultClass.MISWIRE, ("1",), end, destinations=(("1", f"{end}s"),))]
    drawing = as_found(line, rebuild(line, faults), faults)
    assert drawing.sentences[0] == f"Conductor 1 (shield) is on the shell's tag at end {end}."
    goes = {
        "A": "from the shell at end A to contact 1 at end B; it belongs on contact 1 at end A",
        "B": "from contact 1 at end A to the shell at end B; it belongs on contact 1",
    }
    assert drawing.sentences[1] == f"Conductor 1 (shield) goes {goes[end]}."
    words = [label.text for label in drawing.labels]
    assert words[0] == {"A": "s ← miswired", "B": "→ s miswired"}[end]
    assert "1 has no wire" in words
    assert "holds 1" in words
    tidy(drawing)


def test_evidence_of_no_conductor_stands_below() -> None:
    line = BUILTIN["xlr3"]
    drawing = as_found(line, None, [Fault(FaultClass.DAMAGE, (), "B")])
    assert drawing.labels[-1].text == "Damage at end B"
    assert len(drawing.notes) == 1
    assert drawing.sentences[0] == "Damage at end B."
    tidy(drawing)


def test_nothing_read_is_nothing_tested() -> None:
    drawing = as_found(BUILTIN["xlr3"], None, [])
    assert {wire.kind for wire in drawing.wires} == {LineKind.UNTESTED}
    assert not [contact for contact in drawing.contacts if contact.tested]


def own_wiring(contacts: Sequence[str], lane: str | None) -> Wiring:
    wires = [Conductor(name, f"A{name}", f"B{name}", "single", None, lane and f"{lane} {name}") for name in contacts]
    return wiring([*contacts, "s"], [*contacts, "s"], wires, [(f"A{contacts[0]}", "As")])


@given(
    st.lists(
        st.text("GNDwire1 ", min_size=1, max_size=12).filter(lambda name: name == name.strip() != "s"),
        min_size=1,
        max_size=LARGEST // 2 - 1,
        unique=True,
    ),
    st.sampled_from([None, "a rather long name for a lane"]),
)
def test_names_of_any_length_fit(contacts: list[str], lane: str | None) -> None:
    line = own_wiring(contacts, lane)
    tidy(as_found(line, rebuild(line, []), []))
