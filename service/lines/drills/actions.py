"""Set-up drills: starting and ending one, and what was tapped at its stations."""

from collections.abc import Callable, Iterator, Sequence
from typing import Any
from uuid import UUID, uuid5

from sqlalchemy.orm import Session

from service.crew.core import Actor, ProgramFacts
from service.kit.problems import invalid
from service.kit.quantities import Unit
from service.lines.cards.actions import cards_of
from service.lines.cards.core import PlugCard
from service.lines.cards.drawing import channels_in_words, end_in_words
from service.lines.checks.core.kinds import CheckKind
from service.lines.checks.models import LineCheck
from service.lines.drills import queries
from service.lines.drills.core import DoneEntry, DrillPlug, NewDone
from service.lines.inputs.queries import get_input_list
from service.testlog.core import corrected


def start_drill(
    db: Session, drill_id: UUID, list_id: UUID, window_s: int, program: ProgramFacts, actor: Actor
) -> LineCheck:
    """Start a drill of setting up the lines of an input list, for which there are so many seconds. Its stations are the
    places of the plug cards as they are now.

    Raises:
        NotFound: there is no such list.
        Invalid: nothing of it is plugged at set-up.
    """
    input_list = get_input_list(db, list_id)
    plugs = list(_plugs(drill_id, cards_of(db, input_list.id, Unit(program.unit), actor.now).cards, program.end))
    if not plugs:
        raise invalid(
            "input_list",
            "No plug of this list is made at set-up. Lay its lines first, and say which joints stay plugged.",
        )
    drill = LineCheck(
        id=drill_id,
        input_list_id=input_list.id,
        event_id=None,
        kind=CheckKind.DRILL,
        window_s=window_s,
        started_at=actor.now,
        ended_at=None,
        made_by=actor.who.id,
    )
    db.add(drill)
    db.flush()
    queries.add_plugs(db, drill.id, plugs)
    return drill


def _plugs(drill_id: UUID, cards: Sequence[PlugCard], end_name: Callable[[str], str]) -> Iterator[DrillPlug]:
    for card in cards:
        for number, plug in enumerate(card.plugs, 1):
            hold, socket = end_in_words(plug.hold, end_name), end_in_words(plug.into, end_name)
            plug_id = uuid5(drill_id, f"{card.place} {number}")
            yield DrillPlug(plug_id, card.place, hold, socket, channels_in_words(plug.channels))


def end_drill(db: Session, drill_id: UUID, actor: Actor) -> None:
    """End a drill, whether or not all stations are done; one that ended before keeps its time.

    Raises:
        NotFound: there is no such drill.
    """
    drill = queries.get_drill(db, drill_id)
    drill.ended_at = drill.ended_at or actor.now


def log_done(db: Session, new: NewDone, actor: Actor) -> dict[str, Any]:
    """Log that a station, or one plug of it, is done, or that it is not after all. It is taken even after the drill
    ended: a phone may have been without a signal.

    Returns:
        The `id`, the `drill`, the `station`, the `plug`, whether it is `done`, and `received_at`.

    Raises:
        NotFound: there is no such drill.
        Invalid: it has no such station, or the station no such plug.
    """
    drill = queries.get_drill(db, new.drill)
    at = corrected(new.at, new.sent_at, actor.now, "at", "entry")
    stations = queries.stations_of(db, drill.id)
    if new.station not in stations:
        raise invalid("station", f"{new.station} is not a station of this drill. Open the drill again.")
    if new.plug is not None and new.plug not in stations[new.station]:
        raise invalid("plug", f"This plug is not one of {new.station} in this drill. Open the drill again.")
    queries.add_done(db, DoneEntry(new.id, new.station, new.plug, new.done, at), drill.id, actor.who.id, actor.now)
    return {
        "id": str(new.id),
        "drill": str(drill.id),
        "station": new.station,
        "plug": str(new.plug) if new.plug else None,
        "done": new.done,
        "received_at": actor.now.isoformat(),
    }
