"""A program's own tester, described by the program: what it can see, and what each pattern of its lamps may mean.

Nothing ships with the service: a tester and its patterns are entered by a lead from the tester's own manual. Several
readings may light the same lamps; all of them are then kept, and what a good pattern may hide is not proven by it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from service.kit.problems import invalid
from service.wiring.faults import rebuild
from service.wiring.naming import listed
from service.wiring.visibility import Visibility
from service.wiring.wirings import ALL, Readings, Wiring, read

LONGEST_NAME = 60
_SIGHTS = (Visibility.STRAIGHT, Visibility.CROSS, Visibility.METER)


@dataclass(frozen=True)
class Tester:
    """A tester for one wiring. `patterns` maps what its lamps show to every reading that shows so."""

    name: str
    wiring: Wiring
    sees: Visibility
    patterns: Mapping[str, tuple[Readings, ...]]

    def __post_init__(self) -> None:
        if not 0 < len(self.name.strip()) <= LONGEST_NAME:
            raise invalid("name", f"A tester needs a name of 1 to {LONGEST_NAME} characters.")
        if self.sees not in _SIGHTS:
            raise invalid("sees", f"A tester sees {listed(_SIGHTS)}, not “{self.sees}”.")
        if not self.patterns:
            raise invalid("patterns", "Describe at least one lamp pattern, such as the one of a good cable.")
        for pattern, readings in self.patterns.items():
            if not pattern.strip():
                raise invalid("patterns", "A lamp pattern needs words, such as “all three on”.")
            if not readings:
                raise invalid("patterns", f"The pattern “{pattern}” needs at least one reading that it may mean.")

    def readings_for(self, pattern: str) -> tuple[Readings, ...]:
        """Every reading that the pattern may mean. Raises `Invalid` for one that was not described."""
        if pattern not in self.patterns:
            known = listed([f"“{name}”" for name in self.patterns])
            raise invalid("pattern", f"{self.name} has no pattern “{pattern}”; it has {known}.")
        return self.patterns[pattern]

    @property
    def mistaken(self) -> frozenset[Readings]:
        """Readings of faulty cables that show a pattern which a good cable shows too."""
        sound = rebuild(self.wiring, ())
        return frozenset(
            reading
            for readings in self.patterns.values()
            if any(sound.within(good.probed) == good for good in readings)
            for reading in readings
            if sound.within(reading.probed) != reading
        )


def make_tester(
    name: str,
    wiring: Wiring,
    sees: str,
    patterns: Mapping[str, Sequence[object]],
    probed: object = ALL,
) -> Tester:
    """A tester from what was typed: each pattern with its readings as lists of joined contacts.

    Raises `Invalid` naming the culprit.
    """
    if sees not in set(Visibility):
        raise invalid("sees", f"A tester sees {listed(_SIGHTS)}, not “{sees}”.")
    meanings = {
        pattern.strip(): tuple(read(wiring, joined, probed) for joined in readings)
        for pattern, readings in patterns.items()
    }
    if len(meanings) < len(patterns):
        raise invalid("patterns", "Two lamp patterns bear the same words: put their readings under one.")
    return Tester(name.strip(), wiring, Visibility(sees), MappingProxyType(meanings))
