"""Who tests what: a helper is sent to the next line, and nobody else is until it is tested or the claim lapses.

A claim is a courtesy, no lock: anybody may take a line all the same, and a test counts whoever logs it.
"""

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from sqlalchemy.orm import Session

from service.crew.core import Actor
from service.kit.problems import NotFound
from service.sessions import queries
from service.sessions.actions import lock_open_session
from service.sessions.core import CLAIM_LASTS, Claim, Turn, live, nearest
from service.sessions.queries import WorklistRow


def claim_next(db: Session, session_id: UUID, actor: Actor, after: UUID | None = None) -> UUID | None:
    """Claim for a helper the line nearest on the walk to the one they tested last, and return its item.

    Whoever is at a line already, and has not just tested it (`after`), is sent there again. None where nothing is
    left, or others are at all that is.

    Raises:
        NotFound, Conflict: there is no such session, or it was closed.
    """
    lock_open_session(db, session_id)  # so that of two who ask at once, the second sees what the first was given
    turns = queries.turns(db, session_id)
    chosen = _at_work(turns, actor) if after is None else None
    if chosen is None:
        last = after or queries.last_item_of(db, session_id, actor.who.id)
        chosen = nearest(turns, actor.who.id, last, actor.now)
    if chosen is None:
        return None
    queries.set_claim(db, session_id, chosen.item, Claim(actor.who.id, actor.now + CLAIM_LASTS))
    return chosen.item


def take(db: Session, session_id: UUID, item_id: UUID, actor: Actor) -> None:
    """Claim a certain line for somebody, whoever had it.

    Raises:
        NotFound, Conflict: there is no such session or line, or it was closed.
    """
    lock_open_session(db, session_id)
    if item_id not in {turn.item for turn in queries.turns(db, session_id)}:
        raise NotFound("This item is not on the session's list. Test it from its own page.")
    queries.set_claim(db, session_id, item_id, Claim(actor.who.id, actor.now + CLAIM_LASTS))


def next_for(lines: Sequence[WorklistRow], who: UUID, last: UUID | None, now: datetime) -> WorklistRow | None:
    """The line that `claim_next` would give to somebody who has just tested `last`."""
    turns = [Turn(line.item.id, line.done is not None, line.claim) for line in lines]
    chosen = nearest(turns, who, last, now)
    return next((line for line in lines if chosen is not None and line.item.id == chosen.item), None)


def _at_work(turns: list[Turn], actor: Actor) -> Turn | None:
    """The line that somebody is at: the one they were sent to last."""
    theirs = [
        (claim.until, turn)
        for turn in turns
        if (claim := live(turn.claim, actor.now)) is not None and claim.by == actor.who.id and not turn.done
    ]
    return max(theirs, key=lambda one: one[0])[1] if theirs else None
