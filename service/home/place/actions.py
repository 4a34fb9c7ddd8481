"""Removing a place that is not used any more."""

from uuid import UUID

from sqlalchemy.orm import Session

from service.crew.core import Actor
from service.gear.actions import end_place, place_with
from service.gear.models import Place
from service.home.place import queries
from service.kit.problems import Conflict
from service.store.sessions import locked
from service.tags.queries import tag_of_place

NAMED_MOST = 3


def list_obstacles(db: Session, place: Place) -> list[str]:
    """What still uses a place, a sentence for each kind; empty if it may be removed.

    Gear counts in every state: a retired or lost item that is kept there may still be found there.
    """
    codes, titles = queries.codes_at(db, place.id), queries.open_sessions_at(db, place.id)
    sentences = []
    if codes:
        rest = len(codes) - NAMED_MOST
        named = ", ".join(codes[:NAMED_MOST]) + (f" and {rest} more" if rest > 0 else "")
        lives = "lives here: say where it lives now" if len(codes) == 1 else "live here: say where they live now"
        sentences.append(f"{named} {lives}.")
    if titles:
        named = ", ".join(f"“{title}”" for title in titles)
        one = (
            "The session {} is held here: close it" if len(titles) == 1 else "The sessions {} are held here: close them"
        )
        sentences.append(one.format(named) + ".")
    return sentences


def end(db: Session, place_id: UUID, actor: Actor) -> None:
    """Take a place off the walk and out of every list, and end its tag; its history stays.

    Raises:
        NotFound, Gone: there is no such place, or it was removed.
        Conflict: it is still used.
    """
    locked(db, Place, place_id)
    place = place_with(db, place_id)
    if obstacles := list_obstacles(db, place):
        raise Conflict(f"{place.name} cannot be removed yet. {' '.join(obstacles)}")
    tag = tag_of_place(db, place_id)
    if tag is not None:
        tag.until = actor.now
    end_place(db, place, actor)
