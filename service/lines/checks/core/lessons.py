"""What line checks teach: how long each took until all channels sounded right, and the commonest causes. Pure."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from service.lines.checks.core.components import CauseKind
from service.lines.checks.core.listening import HeardEntry, Sound


@dataclass(frozen=True)
class Lesson:
    """A line check: when it began, the `seconds` until all channels that were heard sounded right, None if that never
    came, how many channels were heard, how many of them were dead or crossed at any time, and what the causes were.
    """

    id: UUID
    list_id: UUID
    started_at: datetime
    window_s: int
    seconds: int | None
    channels: int
    wrong: int
    causes: tuple[CauseKind, ...]

    @property
    def in_time(self) -> bool:
        """Whether all channels sounded right within the time that there was."""
        return self.seconds is not None and self.seconds <= self.window_s


def right_at(entries: Iterable[HeardEntry]) -> datetime | None:
    """When the last channel began to sound right and stayed so; None if one does not, or nobody listened."""
    by_channel: defaultdict[UUID, list[HeardEntry]] = defaultdict(list)
    for entry in sorted(entries, key=lambda entry: (entry.at, entry.id)):
        by_channel[entry.channel].append(entry)
    times = []
    for logged in by_channel.values():
        if logged[-1].sound is not Sound.GOOD:
            return None
        wrong = [number for number, entry in enumerate(logged) if entry.sound is not Sound.GOOD]
        times.append(logged[wrong[-1] + 1 if wrong else 0].at)
    return max(times, default=None)


def commonest(lessons: Iterable[Lesson]) -> list[tuple[CauseKind, int]]:
    """How often each kind of cause was met, the commonest first."""
    counts = Counter(kind for lesson in lessons for kind in lesson.causes)
    return sorted(counts.items(), key=lambda each: (-each[1], each[0]))


def usual_seconds(lessons: Sequence[Lesson]) -> int | None:
    """The median of the seconds that checks took, the lower one of two; None if none came to an end."""
    seconds = sorted(lesson.seconds for lesson in lessons if lesson.seconds is not None)
    return seconds[(len(seconds) - 1) // 2] if seconds else None
