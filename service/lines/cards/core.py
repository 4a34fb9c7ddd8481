"""Plug cards: for each place, the plugs to make there at set-up, in order of their channels. Pure.

A joint is made where its socket is: at a box (a hub), else where the item after it lives. What one holds in the hand is
the plug that goes into it. A multicore's connector carries many channels and is one plug.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from service.gear.core import End

MIXER = "Mixer"
NOWHERE = "No place yet"


@dataclass(frozen=True, slots=True)
class CardItem:
    """An item of a line: its title and code, whether it is a box, the names of the places of its two ends (empty if
    unknown), how many connectors each end has, the end that faces the source, its lane, and whether the joint before it
    stays plugged.
    """

    title: str
    code: str
    is_box: bool
    places: dict[End, str]
    connectors: dict[End, int]
    source_end: End
    lane: str | None
    stays: bool

    @property
    def mixer_end(self) -> End:
        """The end that faces the mixer."""
        return End.B if self.source_end is End.A else End.A


@dataclass(frozen=True, slots=True)
class CardLine:
    """A line of a channel: its number, its source and the place where that stands."""

    channel: int
    source: str
    place: str
    items: Sequence[CardItem]
    mixer_stays: bool


@dataclass(frozen=True, slots=True)
class PlugEnd:
    """One end of an item, with the lane if the end has a connector for each."""

    title: str
    code: str
    end: End | None
    lane: str | None = None


@dataclass(frozen=True, slots=True)
class PlugToMake:
    """A plug to make: what to hold in the hand, what it goes into, and the channels that it carries."""

    hold: PlugEnd
    into: PlugEnd
    channels: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class PlugCard:
    """The plugs to make at a place, by channel."""

    place: str
    plugs: Sequence[PlugToMake]

    @property
    def sockets(self) -> list[tuple[str, int]]:
        """Into what how many plugs go, in order; two with the same title are told apart by their codes."""
        counts = Counter((plug.into.title, plug.into.code) for plug in self.plugs)
        titles = Counter(title for title, _ in counts)
        return [
            (f"{title} {code[:3]} {code[3:]}" if titles[title] > 1 and code else title, count)
            for (title, code), count in counts.items()
        ]


def plug_cards(lines: Iterable[CardLine], walk: Sequence[str]) -> list[PlugCard]:
    """The cards of these lines, in the order of the places in `walk`; the mixer's is the last one."""
    made: dict[str, dict[tuple[PlugEnd, PlugEnd], list[int]]] = defaultdict(lambda: defaultdict(list))
    for line in sorted(lines, key=lambda line: line.channel):
        for place, hold, into in _joints(line):
            made[place][hold, into].append(line.channel)
    order = {name: number for number, name in enumerate([*walk, NOWHERE, MIXER])}
    return [
        PlugCard(place, [PlugToMake(hold, into, tuple(channels)) for (hold, into), channels in made[place].items()])
        for place in sorted(made, key=lambda place: (order.get(place, len(walk)), place))
    ]


def _joints(line: CardLine) -> Iterable[tuple[str, PlugEnd, PlugEnd]]:
    """The joints of a line that are made at set-up: where, what one holds, and what it goes into."""
    first, last = line.items[0], line.items[-1]
    if not first.stays:
        microphone = PlugEnd(line.source, "", None)
        yield line.place or _place(first, first.source_end), _end(first, first.source_end), microphone
    for before, after in pairwise(line.items):
        if not after.stays:
            yield _between(before, after)
    if not line.mixer_stays:
        lane = str(line.channel) if last.connectors[last.mixer_end] > 1 else None
        yield MIXER, _end(last, last.mixer_end), PlugEnd(MIXER, "", None, lane)


def _between(before: CardItem, after: CardItem) -> tuple[str, PlugEnd, PlugEnd]:
    from_end, to_end = _end(before, before.mixer_end), _end(after, after.source_end)
    if before.is_box and not after.is_box:
        return _place(before, before.mixer_end), to_end, from_end
    return _place(after, after.source_end), from_end, to_end


def _end(item: CardItem, end: End) -> PlugEnd:
    return PlugEnd(item.title, item.code, end, item.lane if item.connectors[end] > 1 else None)


def _place(item: CardItem, end: End) -> str:
    return item.places.get(end) or NOWHERE
