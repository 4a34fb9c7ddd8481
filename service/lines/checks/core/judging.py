"""What is probably bad, from what was heard, and which channels are only exchanged. Pure."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from uuid import UUID

from service.kit.problems import Problem
from service.lines.checks.core.components import CheckedChannel, Component, Experience, components_of
from service.lines.checks.core.listening import ChannelStanding, Sound, exchanged
from service.lines.core.blame import CheckedLine, Heard, blame

LEAST_SHOWN = 0.01
"""What is less probably bad is not shown."""


@dataclass(frozen=True)
class BlamedComponent:
    """A component, how probably it is bad after all that was heard, and the numbers of the dead channels through it."""

    component: Component
    bad: float
    channels: tuple[int, ...]


@dataclass(frozen=True)
class Judgement:
    """What a line check tells.

    `blamed` has the likeliest first. `explanation` is the most probable whole truth, with its probability. `problem`
    says why there is none. `crossed` has a sentence for each set of channels that sound on each other's keys.
    """

    blamed: tuple[BlamedComponent, ...] = ()
    explanation: tuple[Component, ...] = ()
    explanation_probability: float = 1.0
    problem: str = ""
    crossed: tuple[str, ...] = ()


def judge(
    channels: Sequence[CheckedChannel], standing: Mapping[UUID, ChannelStanding], experience: Experience
) -> Judgement:
    """What is to blame for the channels that are dead; `channels` are all of the input list."""
    crossed = tuple(_crossings(channels, standing))
    parts = {channel.id: components_of(channel, experience) for channel in channels}
    components = {part.key: part for through in parts.values() for part in through}
    dead = [channel for channel in channels if is_dead(channel, standing)]
    if not dead:
        return Judgement(crossed=crossed)
    try:
        answer = blame(_probabilities(components), lines(channels, parts, standing))
    except Problem as problem:
        return Judgement(problem=problem.detail, crossed=crossed)
    through = {
        key: tuple(channel.number for channel in dead if any(part.key == key for part in parts[channel.id]))
        for key, bad in answer.bad.items()
        if bad >= LEAST_SHOWN
    }
    blamed = [BlamedComponent(components[key], answer.bad[key], numbers) for key, numbers in through.items() if numbers]
    return Judgement(
        tuple(sorted(blamed, key=lambda one: (-one.bad, one.component.key))),
        tuple(components[key] for key in answer.explanation),
        answer.explanation_probability,
        "",
        crossed,
    )


def is_dead(channel: CheckedChannel, standing: Mapping[UUID, ChannelStanding]) -> bool:
    """Whether a channel was heard dead, and nothing was done about it since."""
    return channel.id in standing and standing[channel.id].sound is Sound.DEAD


def lines(
    channels: Iterable[CheckedChannel],
    parts: Mapping[UUID, Iterable[Component]],
    standing: Mapping[UUID, ChannelStanding],
) -> list[CheckedLine]:
    """The lines as `blame` takes them.

    Channels that are exchanged among themselves work, and count as good. Of one that sounds as another and does not
    come back to it nothing is known.
    """
    rings = exchanged(standing)
    checked = []
    for channel in channels:
        sound = standing[channel.id].sound if channel.id in standing else None
        heard = Heard.UNHEARD
        if sound is Sound.GOOD or channel.id in rings:
            heard = Heard.GOOD
        elif sound is Sound.DEAD:
            heard = Heard.DEAD
        through = frozenset(part.key for part in parts[channel.id])
        checked.append(CheckedLine(channel.title, through, heard))
    return checked


def alone(
    channel: CheckedChannel,
    channels: Sequence[CheckedChannel],
    standing: Mapping[UUID, ChannelStanding],
    experience: Experience,
) -> dict[str, float]:
    """Of each component of a dead channel: a weight in proportion to how probably it alone of the line is bad, given
    all that was heard; those that cannot be are left out.

    That one alone is bad is the same as the rest of the line being good: the chance of that, times that of what was
    heard without the rest.

    Raises:
        Problem: as `blame`.
    """
    parts = {other.id: components_of(other, experience) for other in channels}
    components = {part.key: part for through in parts.values() for part in through}
    checked = lines(channels, parts, standing)
    # Refuses what cannot be, or is too entangled.
    blame(_probabilities(components), checked)
    mine = [part.key for part in parts[channel.id]]
    weights: dict[str, float] = {}
    for key in mine:
        rest = frozenset(mine) - {key}
        left = [CheckedLine(line.name, line.through - rest, line.heard) for line in checked]
        answer = _evidence({name: part for name, part in components.items() if name not in rest}, left)
        odds = answer / (1 - components[key].probability)
        if odds > 0:
            weights[key] = odds
    return weights


def _evidence(components: Mapping[str, Component], checked: Iterable[CheckedLine]) -> float:
    """The chance of what was heard, 0 where it cannot be."""
    heard = [line for line in checked if line.through or line.heard is Heard.DEAD]
    cleared: frozenset[str] = frozenset().union(*(line.through for line in heard if line.heard is Heard.GOOD))
    if any(line.heard is Heard.DEAD and line.through <= cleared for line in heard):
        return 0.0
    return blame(_probabilities(components), heard).evidence


def _probabilities(components: Mapping[str, Component]) -> dict[str, float]:
    return {key: part.probability for key, part in components.items()}


def _crossings(channels: Sequence[CheckedChannel], standing: Mapping[UUID, ChannelStanding]) -> Iterable[str]:
    named = {channel.id: channel for channel in channels}
    rings, listed = exchanged(standing), set[UUID]()
    for channel in channels:
        now = standing.get(channel.id)
        if now is None or now.sound is not Sound.CROSSED or channel.id in listed:
            continue
        ring = [named[one] for one in rings.get(channel.id, ()) if one in named]
        if len(ring) > 1:
            listed.update(one.id for one in ring)
            keys = " and ".join(one.title for one in sorted(ring, key=lambda one: one.number))
            yield f"{keys} sound on each other's keys. Nothing of theirs is dead: plugs are exchanged. {_where(ring)}"
        elif now.sounds_as in named:
            other = named[now.sounds_as]
            heard = f"The key of {channel.title} has the sound of {other.title}. Listen to {other.title} too."
            yield f"{heard} {_where([channel, other])}"


def _where(ring: Sequence[CheckedChannel]) -> str:
    """Where plugs of these channels can be exchanged: where their lines enter the same item, or the mixer."""
    shared = [
        piece.name
        for piece in ring[0].pieces
        if all(any(other.item == piece.item for other in channel.pieces) for channel in ring[1:])
    ]
    return f"Look where their plugs are side by side: {', '.join([*shared, 'the mixer'])}."
