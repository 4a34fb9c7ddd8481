"""What stands for each channel of a line check after all that several people logged. Pure."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from uuid import UUID


class Sound(StrEnum):
    """What somebody heard on a channel: the right sound, none, or that of another channel."""

    GOOD = "good"
    DEAD = "dead"
    CROSSED = "crossed"


@dataclass(frozen=True)
class NewHeard:
    """What somebody heard on a channel of a check; `id` is the client's own, `at` and `sent_at` its own times."""

    id: UUID
    check: UUID
    channel: UUID
    sound: Sound
    sounds_as: UUID | None = None
    at: datetime | None = None
    sent_at: datetime | None = None


@dataclass(frozen=True)
class HeardEntry:
    """One entry about a channel; `sounds_as` is the channel that it sounded as, where it was crossed."""

    id: UUID
    channel: UUID
    sound: Sound
    sounds_as: UUID | None
    at: datetime
    person: UUID


@dataclass(frozen=True)
class ChannelStanding:
    """What stands for a channel: its latest entry, which is None if nobody listened since it was repaired.

    `disputed`: the latest entries of two people differ. `again`: it was repaired since somebody last listened.
    """

    latest: HeardEntry | None = None
    disputed: bool = False
    again: bool = False

    @property
    def sound(self) -> Sound | None:
        """What was heard last, None if nobody listened since it was repaired."""
        return self.latest.sound if self.latest else None

    @property
    def sounds_as(self) -> UUID | None:
        """The channel that it sounded as, where it is crossed."""
        return self.latest.sounds_as if self.latest else None


def standings(entries: Iterable[HeardEntry], repaired: Mapping[UUID, datetime]) -> dict[UUID, ChannelStanding]:
    """What stands for each channel about which something was logged, whatever the order in which it arrived.

    `repaired` has the last time when something was done about a channel: what was heard until then counts no more.
    """
    by_channel: defaultdict[UUID, list[HeardEntry]] = defaultdict(list)
    for entry in entries:
        by_channel[entry.channel].append(entry)
    return {channel: _standing(logged, repaired.get(channel)) for channel, logged in by_channel.items()}


def _standing(logged: Iterable[HeardEntry], repaired: datetime | None) -> ChannelStanding:
    latest_of: dict[UUID, HeardEntry] = {}
    for entry in sorted(logged, key=lambda entry: (entry.at, entry.id)):
        if repaired is None or entry.at > repaired:
            latest_of.pop(entry.person, None)
            latest_of[entry.person] = entry
    if not latest_of:
        return ChannelStanding(again=True)
    *_, latest = latest_of.values()
    return ChannelStanding(latest, len({(entry.sound, entry.sounds_as) for entry in latest_of.values()}) > 1)


def exchanged(standing: Mapping[UUID, ChannelStanding]) -> dict[UUID, tuple[UUID, ...]]:
    """Of each crossed channel whose sound comes back to it in the end: the channels of its ring, itself first.

    In a ring every microphone is heard, on some key, so all that the lines go through works: only plugs are exchanged.
    """
    following = {channel: now.sounds_as for channel, now in standing.items() if now.sound is Sound.CROSSED}
    rings: dict[UUID, tuple[UUID, ...]] = {}
    for channel in following:
        ring, at = [channel], following[channel]
        while at is not None and at in following and at not in ring:
            ring.append(at)
            at = following[at]
        if at == channel:
            rings[channel] = tuple(ring)
    return rings
