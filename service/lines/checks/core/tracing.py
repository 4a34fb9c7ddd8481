"""What to try next on a dead channel: where to go, what to bring, and how long it takes on average. Pure.

The seconds are common practice, without a source, the walk included.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from typing import Final

from service.lines.checks.core.components import CauseKind, CheckedChannel, Component
from service.lines.core.trace import MOST_PARTS, Bypass, FoundPart, LinePart, Listen, Step, SwapPart, trace

SWAP_S: Final = {
    CauseKind.MICROPHONE: 60.0,
    CauseKind.JOINT: 20.0,
    CauseKind.PHANTOM: 8.0,
    CauseKind.MUTED: 5.0,
    CauseKind.MIXER: 40.0,
}
ITEM_SWAP_S: Final = 60.0
SHARED_SWAP_S: Final = 180.0
"""To swap an item with several lanes: all its plugs move."""
LISTEN_S: Final = 30.0
BYPASS_S: Final = 150.0
"""To lay a spare line with a spare microphone to another input of the mixer."""
SPARE_LINE: Final = "a spare microphone and a cable that reaches the mixer"


class Doing(StrEnum):
    """What to do next."""

    LISTEN = "listen"
    SWAP = "swap"
    BYPASS = "bypass"
    NOTHING = "nothing"


@dataclass(frozen=True)
class TracedPart:
    """A part of the line that is put right in one go: an item with its lane, or another component.

    `number` counts the parts of the line from the source.
    """

    number: int
    components: tuple[Component, ...]
    weight: float
    swap_s: float
    can_listen: bool

    @property
    def component(self) -> Component:
        """What it is, the whole item rather than its lane."""
        return self.components[0]


@dataclass(frozen=True)
class NextThing:
    """The next thing to try. `left_s` is how long it takes on average until the channel works.

    `if_good` and `if_dead` are the parts, by number, that are no suspects any more after that answer; None where the
    answer is that the part was found.
    """

    doing: Doing
    sentence: str
    bring: str = ""
    place: str = ""
    left_s: float = 0.0
    worst_s: float = 0.0
    part: TracedPart | None = None
    if_good: tuple[int, ...] | None = None
    if_dead: tuple[int, ...] = ()


def traced_parts(
    channel: CheckedChannel, components: Sequence[Component], weights: Mapping[str, float]
) -> list[TracedPart]:
    """The parts of a line from the source to the mixer; those that cannot be bad have a weight of 0.

    One can listen where a single plug of the line can be pulled: after the microphone and after each item, but not
    where one plug carries several lanes.
    """
    groups: list[list[Component]] = []
    for component in components:
        if groups and component.item is not None and groups[-1][0].item == component.item:
            groups[-1].append(component)
        else:
            groups.append([component])
    carries_many = {
        piece.item for piece, after in pairwise(channel.pieces) if piece.lane is not None and after.lane is not None
    }
    lanes = {piece.item: piece.lanes for piece in channel.pieces}
    parts = []
    for number, group in enumerate(groups):
        first = group[0]
        if first.item is not None:
            can_listen, swap_s = (
                first.item not in carries_many,
                ITEM_SWAP_S if lanes[first.item] == 1 else SHARED_SWAP_S,
            )
        else:
            can_listen, swap_s = first.kind is CauseKind.MICROPHONE and bool(channel.pieces), SWAP_S[first.kind]
        weight = sum(weights.get(component.key, 0.0) for component in group)
        parts.append(TracedPart(number, tuple(group), weight, swap_s, can_listen))
    return parts


def next_thing(
    channel: CheckedChannel, parts: Sequence[TracedPart], cleared: Collection[int], dead: int = 1
) -> NextThing:
    """What to try next, where the parts with the numbers in `cleared` are no suspects any more.

    `dead` is how many channels are: a spare line helps one of them, so one is needed for each.
    """
    suspects = [part for part in parts if part.weight > 0 and part.number not in cleared]
    suspects = sorted(sorted(suspects, key=lambda part: -part.weight)[:MOST_PARTS], key=lambda part: part.number)
    if not suspects:
        return NextThing(Doing.NOTHING, *nothing_left(channel))
    joints = {}
    for joint, (one, following) in enumerate(pairwise(suspects), 1):
        between = [part for part in parts[one.number : following.number] if part.can_listen]
        if between:
            joints[joint] = between[0]
    plan = trace(
        [LinePart(str(part.number), part.weight, part.swap_s) for part in suspects],
        dict.fromkeys(joints, LISTEN_S),
        BYPASS_S * dead,
    )
    before = tuple(sorted(cleared))
    numbers = [part.number for part in suspects]
    return _thing(channel, plan.first, (plan.expected_s, plan.worst_s), parts, joints, numbers, before)


def _thing(
    channel: CheckedChannel,
    step: Step,
    seconds: tuple[float, float],
    parts: Sequence[TracedPart],
    joints: Mapping[int, TracedPart],
    suspects: Sequence[int],
    before: tuple[int, ...],
) -> NextThing:
    match step:
        case Bypass():
            return NextThing(Doing.BYPASS, *laying_a_spare(channel), channel.place, *seconds)
        case Listen():
            after, at = joints[step.joint], step.joint
            return NextThing(
                Doing.LISTEN,
                *listening_after(channel, after),
                after.component.place,
                *seconds,
                after,
                (*before, *suspects[:at]),
                (*before, *suspects[at:]),
            )
        case FoundPart() | SwapPart():
            part = parts[int(step.part)]
            if_dead = (*before, part.number)
            return NextThing(
                Doing.SWAP, *swapping(part), part.component.place, *seconds, part, if_good=None, if_dead=if_dead
            )


def nothing_left(channel: CheckedChannel) -> tuple[str, str]:
    """What to do where no part is a suspect any more, and what to bring."""
    return (
        f"Nothing is left to try, and {channel.title} is still dead: more than one thing is bad. Lay a spare line.",
        SPARE_LINE,
    )


def laying_a_spare(channel: CheckedChannel) -> tuple[str, str]:
    """What to do where a spare line is quicker, and what to bring."""
    return f"A spare line is quicker. Lay one from {channel.source} to a free input of the mixer.", SPARE_LINE


def listening_after(channel: CheckedChannel, part: TracedPart) -> tuple[str, str]:
    """How to listen at the end of a part towards the mixer, and what to bring."""
    bring = "a headphone amplifier that gives phantom power" if channel.phantom else "a headphone amplifier"
    return f"Unplug {part.component.name} at its end towards the mixer, and listen there.", bring


def swapping(part: TracedPart) -> tuple[str, str]:
    """How to put a good one in the place of a part, and what to bring."""
    name = part.component.name
    match part.component.kind:
        case CauseKind.JOINT:
            return f"Pull {name} and push it in again until it clicks.", ""
        case CauseKind.MUTED:
            return f"Look at {name} and the fader: unmute it.", ""
        case CauseKind.PHANTOM:
            return f"Look at {name}: switch it on.", ""
        case CauseKind.MICROPHONE:
            return f"Put another microphone in for {name}.", "a microphone that works"
        case CauseKind.MIXER:
            return "Plug the line into another input of the mixer.", ""
        case CauseKind.ITEM | CauseKind.UNKNOWN:
            return f"Swap {name} for one that works.", f"a spare for {name}"
