"""How long a rig takes to set up: performers plug into their neighbors, or walk to a box or hub and queue. Pure."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from heapq import heapify, heapreplace

from service.rig.core.bill import Chains
from service.rig.core.floor import Floor, SetupCrew, distance

_SAME_S = 1e-9
"""Moments that are no further apart are one."""


@dataclass(frozen=True)
class SetupTime:
    """When the last plug is in, and who put it in; 0 and None where nobody plugs."""

    seconds: float
    last: str | None


def setup(floor: Floor, chains: Chains, crew: SetupCrew) -> SetupTime:
    """When all plugs are in. One that leads into a neighbor takes no walk; ends serve by arrival, then by name."""
    done = {name: crew.ready_s + crew.plug_s * lines for name, lines in chains.leaving.items()}
    queues: dict[str, list[tuple[int, str]]] = {}
    for name in chains.walkers:
        end = chains.into[name]
        queues.setdefault(end, []).append((distance(floor.stations[name].at, chains.ends[end].at), name))
    for queue in queues.values():
        done |= _served(sorted(queue), chains.leaving, crew)
    if not done:
        return SetupTime(0, None)
    seconds = max(done.values())
    return SetupTime(seconds, min(name for name, moment in done.items() if moment >= seconds - _SAME_S))


def _served(queue: Sequence[tuple[int, str]], plugs: Mapping[str, int], crew: SetupCrew) -> dict[str, float]:
    """When each of a queue at one end, in order of arrival, has all plugs in."""
    free = [crew.open_s] * min(crew.hands, len(queue))
    heapify(free)
    done = {}
    for millimeters, name in queue:
        begins = max(crew.ready_s + millimeters / crew.walk_mm_s, free[0])
        done[name] = begins + crew.plug_s * plugs[name]
        heapreplace(free, done[name])
    return done
