"""Who leads into whom as long as nobody said so: towards the box or hub, from neighbor to neighbor. Pure.

That a chain goes on to the nearest station that stands nearer to its end is a rule of thumb (common practice, no
source), and not the cheapest one.
"""

from collections.abc import Mapping

from service.rig.core.floor import ChainEnd, Floor, distance


def suggested_into(floor: Floor, ends: Mapping[str, ChainEnd]) -> dict[str, str]:
    """What each station leads into: the nearest station that is nearer to the same end, if that is nearer than the end
    itself; else the end.
    """
    if not ends:
        return {}
    led = _ends_of(floor, ends)
    into = {}
    for name, station in floor.stations.items():
        away, end = led[name]
        ahead = [
            (distance(station.at, floor.stations[other].at), other)
            for other, (there, key) in led.items()
            if key == end and (there, other) < (away, name)
        ]
        reach, following = min(ahead, default=(away, end))
        into[name] = following if reach < away else end
    return into


def _ends_of(floor: Floor, ends: Mapping[str, ChainEnd]) -> dict[str, tuple[int, str]]:
    """The end of each station's chain, and how far that is: the nearest one that has room. Those who stand nearest to
    an end choose first; where no end has room left, it is the nearest.
    """
    room = {key: end.lines for key, end in ends.items()}
    choices = {
        name: sorted((distance(station.at, end.at), key) for key, end in ends.items())
        for name, station in floor.stations.items()
    }
    led = {}
    for name in sorted(choices, key=lambda name: (choices[name][0], name)):
        mics = floor.stations[name].mics
        fitting = [(away, key) for away, key in choices[name] if (left := room[key]) is None or left >= mics]
        away, end = (fitting or choices[name])[0]
        taken = room[end]
        room[end] = None if taken is None else taken - mics
        led[name] = away, end
    return led
