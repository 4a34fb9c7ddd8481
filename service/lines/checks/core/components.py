"""What can silence a channel, how probable each of it is before anybody listens, and where the figure is from. Pure.

Figures that the program's own line checks say nothing about are common practice, without a source: an unseated plug is
likelier than a broken cable.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from typing import Final
from uuid import UUID

from service.gear.core import End

LEAST: Final = 1e-6
MOST: Final = 0.49
"""No component is given more, or less: nothing is certain before somebody listens."""

UNKNOWN_RISK: Final = 0.01
"""The chance that an item is bad of which the program's log says nothing (common practice, no source)."""
WHOLE: Final = 0.5
"""The share of a multicore's or hub's risk that concerns all its lanes; the rest is shared out among the lanes (common
practice, no source)."""
COMMON_COUNTS: Final = 100
"""Common practice counts as much as so many channels listened to in the program's own line checks."""

COMMON_PRACTICE: Final = "common practice, no source"
OWN_RISK: Final = "this program's risk of this item"
SUSPECTED: Final = "it is suspect, or has a fault, already"


class CauseKind(StrEnum):
    """What it was that silenced a channel."""

    ITEM = "item"
    JOINT = "joint"
    MUTED = "muted"
    PHANTOM = "phantom"
    MICROPHONE = "microphone"
    MIXER = "mixer"
    UNKNOWN = "unknown"


class Rated(StrEnum):
    """What the program's line checks tell the rate of."""

    MADE_JOINT = "made_joint"
    KEPT_JOINT = "kept_joint"
    MUTED = "muted"
    PHANTOM = "phantom"
    MICROPHONE = "microphone"
    MIXER = "mixer"


COMMON: Final = {
    Rated.MADE_JOINT: 0.03,
    Rated.KEPT_JOINT: 0.005,
    Rated.MUTED: 0.02,
    Rated.PHANTOM: 0.02,
    Rated.MICROPHONE: 0.01,
    Rated.MIXER: 0.001,
}
"""How probably each is what silences a channel (common practice, no source)."""


@dataclass(frozen=True)
class Experience:
    """What the program's line checks found: of each kind how often it was `met`, and how often it was
    the cause."""

    met: Mapping[Rated, int] = field(default_factory=dict)
    causes: Mapping[Rated, int] = field(default_factory=dict)

    def rate(self, what: Rated) -> tuple[float, str]:
        """How probably it is bad, and where the figure is from.

        The mean of a beta distribution, with common practice as `COMMON_COUNTS` observations before.
        """
        met, causes = self.met.get(what, 0), self.causes.get(what, 0)
        rate = (COMMON[what] * COMMON_COUNTS + causes) / (COMMON_COUNTS + met)
        basis = f"{causes} of {met} in this program's line checks, and common practice" if met else COMMON_PRACTICE
        return min(max(rate, LEAST), MOST), basis


@dataclass(frozen=True)
class CheckedPiece:
    """An item as a part of a line: `name` as pages say it, its `code`, its `lane` of
    `lanes`, None where it has only one.

    `stays` says whether the joint before it, towards the source, stays plugged. `inlet` and `outlet` are its plugs
    towards the source and the mixer: lanes that have the same one are plugged together. `risk` is the chance that it is
    bad now, None if nothing is known.
    """

    item: UUID
    name: str
    code: str = ""
    lane: str | None = None
    lanes: int = 1
    stays: bool = False
    inlet: str = ""
    outlet: str = ""
    risk: float | None = None
    suspect: bool = False
    place: str = ""


@dataclass(frozen=True)
class CheckedChannel:
    """A channel as it is listened to, with its pieces from the source to the mixer."""

    id: UUID
    number: int
    source: str
    microphone: str = ""
    phantom: bool = False
    place: str = ""
    pieces: tuple[CheckedPiece, ...] = ()
    mixer_stays: bool = False

    @property
    def title(self) -> str:
        """The channel as pages say it."""
        return f"{self.number} {self.source}"


@dataclass(frozen=True)
class Component:
    """What can silence a channel: its key in `blame`, its name, its probability, where that is from, and its place.

    `joint` is the number of a joint in its line, 0 at the microphone.
    """

    key: str
    kind: CauseKind
    name: str
    probability: float
    basis: str
    place: str = ""
    item: UUID | None = None
    code: str = ""
    lane: str | None = None
    joint: int | None = None


@dataclass(frozen=True)
class NewCause:
    """What silenced a channel, as it is sent; `id` is the client's own, `at` and `sent_at` its own times.

    `what` is the key of a component of its line, or "unknown". `evidence` is the name of what was found on the item, if
    anything was, at the `end` where it was.
    """

    id: UUID
    check: UUID
    channel: UUID
    what: str
    evidence: str = ""
    end: End | None = None
    note: str = ""
    at: datetime | None = None
    sent_at: datetime | None = None


def components_of(channel: CheckedChannel, experience: Experience) -> list[Component]:
    """What can silence a channel, from the source to the mixer.

    What several channels share has one key: an item, its lane, a plug that carries many lanes, the mixer.
    """

    def rated(what: Rated, kind: CauseKind, key: str, name: str, place: str, joint: int | None = None) -> Component:
        return Component(key, kind, name, *experience.rate(what), place, joint=joint)

    own, source = str(channel.id), channel.place or channel.source
    microphone = channel.microphone or "microphone"
    parts = [
        rated(
            Rated.MICROPHONE, CauseKind.MICROPHONE, f"microphone {own}", f"the {microphone} of {channel.title}", source
        )
    ]
    before: CheckedPiece | None = None
    for number, piece in enumerate(channel.pieces):
        what = Rated.KEPT_JOINT if piece.stays else Rated.MADE_JOINT
        key = f"joint {before.item} {before.outlet} {piece.item} {piece.inlet}" if before else f"joint {own} source"
        name = f"the plug between {before.name if before else f'the {microphone} of {channel.title}'} and {piece.name}"
        parts += [rated(what, CauseKind.JOINT, key, name, piece.place or source, number), *_of_item(piece)]
        before = piece
    if before:
        what = Rated.KEPT_JOINT if channel.mixer_stays else Rated.MADE_JOINT
        key, name = f"joint {before.item} {before.outlet} mixer", f"the plug between {before.name} and the mixer"
        parts.append(rated(what, CauseKind.JOINT, key, name, "the mixer", len(channel.pieces)))
    if channel.phantom:
        name = f"phantom power of channel {channel.number}"
        parts.append(rated(Rated.PHANTOM, CauseKind.PHANTOM, f"phantom {own}", name, "the mixer"))
    name = f"the mute of channel {channel.number}"
    parts.append(rated(Rated.MUTED, CauseKind.MUTED, f"muted {own}", name, "the mixer"))
    return [*parts, rated(Rated.MIXER, CauseKind.MIXER, "mixer", "the mixer", "the mixer")]


def _of_item(piece: CheckedPiece) -> list[Component]:
    risk, basis = (UNKNOWN_RISK, COMMON_PRACTICE) if piece.risk is None else (piece.risk, OWN_RISK)
    if piece.suspect:
        risk, basis = MOST, SUSPECTED

    def part(key: str, name: str, share: float, lane: str | None = None) -> Component:
        # So that the chance that none of the parts is bad is that of the item: 1 - risk.
        bad = 1 - (1 - min(risk, MOST)) ** share
        return Component(key, CauseKind.ITEM, name, max(bad, LEAST), basis, piece.place, piece.item, piece.code, lane)

    if piece.lane is None:
        return [part(f"item {piece.item}", piece.name, 1.0)]
    one = part(
        f"lane {piece.item} {piece.lane}", f"lane {piece.lane} of {piece.name}", (1 - WHOLE) / piece.lanes, piece.lane
    )
    return [part(f"item {piece.item}", piece.name, WHOLE), one]
