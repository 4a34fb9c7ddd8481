"""What is sure when a test may mean several readings: lamps that show alike, volts that fit several cables.

None of the readings is picked, for that would be a guess. What all of them agree on is kept as the reading, cut down
to contacts about which they do not differ; where every one of them is of a faulty cable, that the cable is faulty is
sure too, though not which fault it is.

>>> from service.wiring.builtin import BUILTIN
>>> from service.wiring.wirings import canonical, read
>>> lead = BUILTIN["xlr3"]
>>> good, turned = read(lead, [["A1", "B1"], ["A2", "B2"], ["A3", "B3"]]), read(lead, [["A1", "B1"], ["A2", "B3"]])
>>> canonical(lead, certain(lead, [good, turned]))["joined"]
[['A1', 'B1']]
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

from service.diagnosis.diagnosis import Diagnosis, diagnose
from service.wiring.wirings import Readings, Wiring


@dataclass(frozen=True, slots=True)
class Consensus:
    """How to log a test that may mean each of several `readings`, whose diagnoses are `diagnoses`, in the same order.

    `kept` is the reading to log, None where any would name a fault that is not sure. `faulty` says that the cable is
    faulty whichever it is and that `kept` does not show it, so that evidence has to.
    """

    readings: tuple[Readings, ...]
    diagnoses: tuple[Diagnosis, ...]
    kept: Readings | None
    faulty: bool


def agree(wiring: Wiring, possible: Sequence[Readings]) -> Consensus:
    """What is sure of a cable whose readings are one of `possible` (at least one); doubles count once."""
    readings = tuple(dict.fromkeys(possible))
    diagnoses = tuple(diagnose(wiring, each) for each in readings)
    if len(readings) == 1:
        return Consensus(readings, diagnoses, readings[0], False)
    kept = certain(wiring, readings)
    diagnosis = diagnose(wiring, kept)
    if any(each.verdict != "fail" for each in diagnoses):
        return Consensus(readings, diagnoses, kept, False)  # what agrees with a good cable is no fail
    if diagnosis.verdict != "fail":
        return Consensus(readings, diagnoses, kept, True)
    shared = all(set(diagnosis.faults) <= set(each.faults) for each in diagnoses)
    return Consensus(readings, diagnoses, kept if shared else None, not shared)


def certain(wiring: Wiring, possible: Sequence[Readings]) -> Readings:
    """The readings that all `possible` ones share, on contacts of which no two are joined in some and not in others.

    Contacts go, the most disputed first and the later of two, until none is disputed.
    """
    probed = possible[0].probed
    for each in possible:
        probed &= each.probed
    contacts = [contact for contact in wiring.all_contacts if wiring.bit[contact] & probed]
    disputes: dict[str, set[str]] = {contact: set() for contact in contacts}
    for one, other in combinations(contacts, 2):
        both = wiring.bit[one] | wiring.bit[other]
        if len({any(group & both == both for group in each.groups) for each in possible}) > 1:
            disputes[one].add(other)
            disputes[other].add(one)
    while any(disputes.values()):
        worst = max(disputes, key=lambda contact: (len(disputes[contact]), wiring.position[contact]))
        for other in disputes.pop(worst):
            disputes[other].discard(worst)
    kept = 0
    for contact in disputes:
        kept |= wiring.bit[contact]
    return possible[0].within(kept)
