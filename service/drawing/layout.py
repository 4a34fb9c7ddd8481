"""The drawing of a cable, as tested or as it should be, laid out 320 units wide. Pure.

Contacts of end A stand at the left, those of end B at the right, a row for each conductor. Words lie on the line that
they speak of; the zones for breaks and joints are kept free of them.
"""

from collections.abc import Iterable, Iterator, Sequence

from service.drawing import strokes
from service.drawing.findings import SIGNS, Findings, Join, LineKind, Tone, cut, findings, short
from service.drawing.findings import alone as findings_alone
from service.drawing.parts import DrawnPart, DrawnRow, folded_words, needs_drawing, parts_of
from service.drawing.shapes import Block, Contact, Drawing, FaultMark, Link, Tape, TextLabel, Wire
from service.drawing.words import describe, wire_in_words
from service.drawing.zones import A_CONTACT, B_CONTACT, Zones, columns, zones_of
from service.wiring.faults import Fault, FaultClass
from service.wiring.naming import title
from service.wiring.wirings import Conductor, Readings, Wiring

WIDTH = 320
LINE = 17
"""From one line of words to the next; letters are 15 units high."""
_RINGED = 70
"""A ring round joints further apart than twice this would show nothing."""
_HEAD, _PART_HEAD, _FOLD, _NOTE = 38, 28, 30, 24


def as_found(wiring: Wiring, readings: Readings | None, faults: Sequence[Fault]) -> Drawing:
    """The drawing of a test. Lanes with nothing to show are folded to a line. Readings of None: nothing was read."""
    seen, parts = findings(wiring, readings, faults), parts_of(wiring)
    return _Sketch(wiring, seen).drawing("What was found", describe(wiring, seen, parts), parts)


def alone(wiring: Wiring, fault: Fault) -> Drawing:
    """One fault by itself, and of a wiring with lanes only those that it names."""
    seen = findings_alone(wiring, fault)
    parts = [part for part in parts_of(wiring) if needs_drawing(part, seen)]
    named = [wire for part in parts for wire in part.wires if seen.wires[wire.name].faults]
    words = dict.fromkeys([f"{title(wiring, fault)}.", *(wire_in_words(wiring, wire, seen) for wire in named)])
    return _Sketch(wiring, seen).drawing("The fault", list(words), parts)


class _Sketch:
    """A drawing in the making: first the rows are placed, then everything between them is drawn."""

    def __init__(self, wiring: Wiring, seen: Findings) -> None:
        self._wiring, self._seen = wiring, seen
        self._zones: Zones = zones_of(seen)
        self._y: dict[str, float] = {}
        """Rows by conductor, and contacts by name (of one in several rows, the first)."""
        self._labels: list[TextLabel] = []
        self._contacts: list[Contact] = []
        self._blocks: list[Block] = []
        self._strands: list[str] = []
        self._tapes: list[Tape] = []
        self._notes: list[float] = []
        self._key = ""

    def drawing(self, words: str, sentences: Sequence[str], parts: Sequence[DrawnPart]) -> Drawing:
        y, aside = float(_HEAD), 12 + max((_tape_width(part.name) for part in parts), default=0)
        drawn = [part for part in parts if self._seen.planned or needs_drawing(part, self._seen)]
        for part in drawn:
            y = self._part(part, y)
        for part in parts:  # below, so that what joins or crosses lanes never runs through their words
            folded = "" if part in drawn else folded_words(part, self._seen)
            y = self._fold(part.name, folded, aside, y) if folded else y
        wires = [self._wire(wire) for part in drawn for wire in part.wires]
        y = self._remarks(y, any(wire.ghost for wire in wires))
        return Drawing(
            title=words,
            height=y + 6,
            sentences=tuple(sentences),
            coil=strokes.coil(24, 46, WIDTH - 46),
            blocks=tuple(self._blocks),
            links=tuple(self._links(drawn)),
            wires=tuple(sorted(wires, key=lambda wire: wire.kind not in (LineKind.GOOD, LineKind.UNTESTED))),
            contacts=tuple(self._contacts),
            marks=(*self._wire_marks(drawn), *self._joints()),
            labels=tuple(self._labels),
            tapes=tuple(self._tapes),
            strands=tuple(self._strands),
            notes=tuple(self._notes),
            key=self._key,
        )

    def _part(self, part: DrawnPart, top: float) -> float:
        y = top
        if part.name:
            self._heading(part.name, y)
            y += _PART_HEAD
        for row in part.rows:
            y = self._row(row, y)
        for end in "AB":
            rows = [row for row in part.rows if (row.a if end == "A" else row.b)]
            if rows:
                ys = [self._row_y(row) for row in rows]
                self._blocks.append(Block(end, min(ys) - 18, max(ys) - min(ys) + 36))
        return y + 10

    def _heading(self, name: str, y: float) -> None:
        self._tapes.append(Tape(4, y, _tape_width(name)))
        self._labels.append(TextLabel(_heading_of(name), 12, y + 17, "head"))

    def _row(self, row: DrawnRow, top: float) -> float:
        y = top + self._words(row, top) * LINE + 6
        if row.wire:
            self._y[row.wire.name] = y
        for contact, x in ((row.a, A_CONTACT), (row.b, B_CONTACT)):
            if contact:
                self._y.setdefault(contact, y)
                self._contacts.append(self._contact(contact, row, x, y))
        return y + 13

    def _words(self, row: DrawnRow, top: float) -> int:
        """Write the row's words, a line each; how many lines they take."""
        words = list(self._seen.wires[row.wire.name].words) if row.wire else []
        at_a, at_b = (list(self._seen.contact_words.get(contact or "", ())) for contact in (row.a, row.b))
        left = words + at_a
        right = [] if at_a == at_b else at_b
        for place, word in enumerate(left + right):
            at_end = place >= len(left)
            x, anchor = (self._zones.words_end, "end") if at_end else (self._zones.text, "start")
            self._labels.append(TextLabel(word.text, x, top + (place + 1) * LINE - 3, word.tone, anchor))
        return max(1, len(left + right))

    def _contact(self, contact: str, row: DrawnRow, x: float, y: float) -> Contact:
        names = {contact, row.wire.name if row.wire else contact}
        return Contact(
            contact,
            short(contact),
            x,
            y,
            contact_width(contact),
            contact not in self._seen.untested,
            bool(names & self._seen.names),
        )

    def _fold(self, name: str, words: str, x: float, top: float) -> float:
        y = top + _FOLD / 2
        tone = Tone.GOOD if words == "good" else Tone.UNTESTED
        self._heading(name, top + 3)
        self._labels.append(TextLabel(words, x + 48, y + 5, tone))
        self._strands.append(strokes.coil(y + 5, x, x + 38, 1))
        return top + _FOLD

    def _remarks(self, y: float, ghosts: bool) -> float:
        """Below the cable: what is known of no conductor in particular, and what the dots mean."""
        for fault in (fault for fault in self._seen.faults if not fault.conductors):
            self._labels.append(TextLabel(title(self._wiring, fault), 30, y + 17, Tone.FAULT))
            self._notes.append(y + 12)
            y += _NOTE
        if ghosts:
            self._labels.append(TextLabel("as it should be", self._zones.text + 40, y + 17, Tone.QUIET))
            self._key = strokes.line(y + 12, self._zones.text, self._zones.text + 32, bow=0)
            y += _NOTE
        return y

    def _row_y(self, row: DrawnRow) -> float:
        return self._y[row.wire.name if row.wire else row.a or row.b or ""]

    def _destination_y(self, wire: Conductor) -> float:
        lands = self._seen.wires[wire.name].lands
        return self._y[wire.name] if lands == wire.b else self._y[lands]

    def _wire(self, wire: Conductor) -> Wire:
        state, zones = self._seen.wires[wire.name], self._zones
        y, to_y = self._y[wire.name], self._destination_y(wire)
        bow = 1.3 if round(y) % 2 else -1.3
        start = A_CONTACT + contact_width(state.starts) / 2
        stop = B_CONTACT - contact_width(state.lands) / 2
        breaks = [x for _, x, _ in self._signs(wire)]
        near = [x for x in breaks if x < zones.over]
        path = over = arrow = ghost = ""
        if state.starts != wire.a:
            from_y = self._y[state.starts]
            over = strokes.crossing((start, from_y), (zones.led, y))
            path, arrow = over, strokes.arrow_back(start, from_y)
            ghost = strokes.line(y, A_CONTACT + contact_width(wire.a) / 2, zones.led, bow=0)
            start = zones.led
        path += strokes.line(y, start, zones.over, near, bow)
        across = strokes.crossing((zones.over, y), (zones.across, to_y))
        path += across + strokes.line(to_y, zones.across, stop, [x for x in breaks if x > zones.over], 0)
        if state.lands != wire.b:
            over += across
            arrow += strokes.arrow(stop, to_y)
            ghost += strokes.line(y, zones.over, B_CONTACT - contact_width(wire.b) / 2, bow=0)
        words = wire_in_words(self._wiring, wire, self._seen)
        return Wire(wire.name, state.kind, path, words, over=over, arrow=arrow, ghost=ghost)

    def _signs(self, wire: Conductor) -> Iterator[tuple[str, float, float]]:
        """The signs on a conductor's own line, one at a place: its kind, x and y."""
        taken = set()
        for fault in self._seen.wires[wire.name].faults:
            x = self._zones.sign[fault.end]
            if fault.fault_class in SIGNS and x not in taken:
                taken.add(x)
                kind = "gap" if fault.fault_class is FaultClass.OPEN else "flicker"
                yield kind, x, self._destination_y(wire) if fault.end == "B" else self._y[wire.name]

    def _wire_marks(self, parts: Iterable[DrawnPart]) -> Iterator[FaultMark]:
        for part in parts:
            for wire in part.wires:
                for kind, x, y in self._signs(wire):
                    draw = strokes.slashes if kind == "gap" else strokes.flicker
                    yield FaultMark(kind, (wire.name,), draw(x, y), strokes.ring(x, y, 14, 13))

    def _joints(self) -> Iterator[FaultMark]:
        rows = [self._join_rows(join) for join in self._seen.joins]
        spans = [(join.end, (min(ys) - 24, max(ys) + 24)) for join, ys in zip(self._seen.joins, rows, strict=True)]
        for join, ys, column in zip(self._seen.joins, rows, columns(spans), strict=True):
            bare = [name for name in join.members if name not in self._wiring.by_name]
            if join.end is None and bare:
                yield self._across(join.members)
                continue
            x = self._zones.joint[join.end] + (-column if join.end == "B" else column)
            middle, half = (min(ys) + max(ys)) / 2, (max(ys) - min(ys)) / 2
            path = strokes.joint(x, ys, [self._edge(name) for name in bare])
            ring = strokes.ring(x, middle, 11, half + 11) if half < _RINGED else ""
            yield FaultMark("joint", join.members, path, ring, tuple((x, y) for y in ys))

    def _across(self, members: tuple[str, ...]) -> FaultMark:
        """Bare contacts of either end that are joined: a line from one to the other."""
        a, b = map(self._edge, members)
        return FaultMark("joint", members, strokes.crossing(a, b), "", (a, b))

    def _edge(self, contact: str) -> strokes.Point:
        """Where a line leaves a contact."""
        half = contact_width(contact) / 2
        return (A_CONTACT + half if contact[0] == "A" else B_CONTACT - half), self._y[contact]

    def _join_rows(self, join: Join) -> list[float]:
        by_name = self._wiring.by_name
        return [
            self._destination_y(by_name[name]) if name in by_name and join.end == "B" else self._y[name]
            for name in join.members
        ]

    def _links(self, parts: Iterable[DrawnPart]) -> Iterator[Link]:
        for part in parts:
            for bond in self._wiring.bonds:
                if {bond.earlier, bond.later} <= part.names:
                    out = -1 if bond.end == "A" else 1
                    x = (A_CONTACT if bond.end == "A" else B_CONTACT) + out * contact_width("x1") / 2
                    y, to_y = self._y[bond.earlier], self._y[bond.later]
                    path = strokes.link(x, y, to_y, out * 8)
                    if bond.later in self._seen.parted:
                        at = x + out * 6, (y + to_y) / 2
                        yield Link(bond.earlier, bond.later, path, strokes.cross(*at), strokes.ring(*at, 7, 8))
                    else:
                        yield Link(bond.earlier, bond.later, path)


def _heading_of(name: str) -> str:
    word, _, lane = name.partition(" ")
    return f"{word} {cut(lane)}".strip()


def _tape_width(name: str) -> float:
    return 8 * len(_heading_of(name)) + 16


def contact_width(contact: str) -> float:
    """How wide a contact has to be for its name."""
    return min(48.0, max(28.0, 8 * len(short(contact)) + 8))
