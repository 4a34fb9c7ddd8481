"""The input lists of the demo: sixteen channels over two hubs and two multicores, in the season before and in this one.

Each hub gathers eight channels; its multicore goes straight into the mixer. Marimbas and vibraphones that stand further
away reach their hub through the cable that is chained from one frame to the next.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from uuid import UUID

from sqlalchemy.orm import Session

from service.crew.core import Actor, Who
from service.demo import scenario
from service.demo.gear import Owned
from service.demo.replay import demo_id
from service.gear.core import ASKED, ItemState
from service.gear.models import Item
from service.kit.dates import local_date
from service.lines.inputs import actions
from service.lines.inputs.core import NewChannel
from service.season.models import SeasonRow

HUBS = ("Hub 1", "Hub 3")
MULTICORE = "multicore"
CHAIN = "chain"
MADE = timedelta(days=3)
"""After the season's first day, on which the instruments are wired."""


@dataclass(frozen=True)
class PlannedChannel:
    """A channel of the demo: what stands there, its microphone, phantom power, its place, and the place from which a
    chained cable comes, empty if its own cable reaches the hub.
    """

    source: str
    microphone: str
    place: str
    chained_from: str = ""
    phantom: bool = True


_OVER, _CLOSE = "Condenser above", "Dynamic, close"

CHANNELS = (
    PlannedChannel("Marimba 1 low", _OVER, "Marimba 1"),
    PlannedChannel("Marimba 2 low", _OVER, "Marimba 2", "Marimba 1"),
    PlannedChannel("Marimba 2 high", _OVER, "Marimba 2"),
    PlannedChannel("Marimba 3 low", _OVER, "Marimba 3", "Marimba 2"),
    PlannedChannel("Marimba 3 high", _OVER, "Marimba 3"),
    PlannedChannel("Marimba 4 low", _OVER, "Marimba 4", "Marimba 3"),
    PlannedChannel("Xylophone", _OVER, "Xylophone"),
    PlannedChannel("Glockenspiel", _OVER, "Glockenspiel"),
    PlannedChannel("Vibraphone 1", _OVER, "Vibraphone 1"),
    PlannedChannel("Vibraphone 2", _OVER, "Vibraphone 2", "Vibraphone 1"),
    PlannedChannel("Vibraphone 3", _OVER, "Vibraphone 3", "Vibraphone 2"),
    PlannedChannel("Vibraphone 4", _OVER, "Vibraphone 4", "Vibraphone 3"),
    PlannedChannel("Rack 1 chimes", _OVER, "Rack 1"),
    PlannedChannel("Rack 1 gong", _CLOSE, "Rack 1", phantom=False),
    PlannedChannel("Rack 2 toys", _OVER, "Rack 2"),
    PlannedChannel("Rack 2 bass drum", _CLOSE, "Rack 2", phantom=False),
)


def add_lists(
    db: Session, lead: Who, owned: Sequence[Owned], items: Sequence[Item], codes: Mapping[UUID, str], now: datetime
) -> None:
    """Make the list of the season before, and copy it to this one."""
    before, present = (db.get_one(SeasonRow, demo_id("season", number)) for number in (1, 2))
    actor = Actor(lead, _set_up_at(before, now), scenario.ZONE)
    made = actions.make_list(db, demo_id("input list", 1), before, actor)
    gear = _Gear(owned, items, codes)
    for number, planned in enumerate(CHANNELS, 1):
        channel = demo_id("channel", number)
        entry = NewChannel(number, planned.source, planned.microphone, planned.phantom, planned.place)
        actions.add_channel(db, channel, made.id, entry, actor)
        hub, lane = divmod(number - 1, 8)
        actions.set_line(db, channel, [*gear.cables(planned), *gear.trunk(hub)], str(lane + 1), actor)
    actor = Actor(lead, _set_up_at(present, now), scenario.ZONE)
    actions.copy_list(db, demo_id("input list", 2), present, made.id, actor)


def _set_up_at(season: SeasonRow, now: datetime) -> datetime:
    day = min(season.starts + MADE, local_date(now, scenario.ZONE))
    return min(datetime.combine(day, time(17), scenario.ZONE), now)


class _Gear:
    """The demo's gear that is still in use, from which each line takes what no other one has."""

    def __init__(self, owned: Sequence[Owned], items: Sequence[Item], codes: Mapping[UUID, str]) -> None:
        self._free = [(one, codes[item.id]) for one, item in zip(owned, items, strict=False) if _is_in_use(item)]

    def cables(self, planned: PlannedChannel) -> Iterator[str]:
        """The cable of a source, and the one chained from the frame beside it."""
        yield self._take(planned.place, "")
        if planned.chained_from:
            yield self._take(planned.chained_from, CHAIN)

    def trunk(self, hub: int) -> list[str]:
        """A hub and its multicore, which every line of it goes through."""
        hubs = [code for one, code in self._free if one.label in HUBS]
        trunks = [code for one, code in self._free if one.label == MULTICORE]
        return [hubs[hub], trunks[hub]]

    def _take(self, place: str, label: str) -> str:
        mine = next(
            each for each in self._free if each[0].place == place and each[0].label == label and not each[0].spare
        )
        self._free.remove(mine)
        return mine[1]


def _is_in_use(item: Item) -> bool:
    return ItemState(item.state) in ASKED
