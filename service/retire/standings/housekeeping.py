"""The chore that stores standings before the next event, and what compares those that are stored with the log."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import date, datetime
from functools import partial
from uuid import UUID

from sqlalchemy.orm import Session

from service.kit.dates import local_date
from service.retire.standings import queries
from service.retire.standings.core import Basis, Standing
from service.store.sessions import Store, chunks
from service.tags.queries import codes_of
from service.testlog.housekeeping import Chore, Step, zone_of

STEP = 200
"""How many items a step writes: a row each, which takes some tens of milliseconds."""
CLOSE = 1e-9
"""Chances that differ by less are rounded differently by another processor."""


def refresh(store: Store, today: date) -> Iterator[Step]:
    """Store the standings of items about which something was written since, or that rested on something else. Without a
    stored fit there is nothing to store: each would rest on the lives of all items.
    """
    with store.reading() as db:
        basis = queries.next_basis(db, today, zone_of(db))
        revisions = queries.stale(db, basis) if basis.fit is not None else {}
    for ids in chunks(sorted(revisions), STEP):
        with store.reading() as db:
            standings = queries.reckon(db, ids, basis)
        yield partial(_set_standings, revisions, standings, basis)


def _set_standings(
    revisions: Mapping[UUID, int],
    standings: Mapping[UUID, Standing],
    basis: Basis,
    db: Session,
    _today: date,
    _now: datetime,
) -> int:
    return queries.set_standings(db, revisions, standings, basis)


REFRESH = Chore("standings stored", refresh)


def verify(store: Store, now: datetime) -> list[str]:
    """Work out anew the stored standings that hold, without writing; a line for each that differs."""
    with store.reading() as db:
        zone = zone_of(db)
        basis = queries.next_basis(db, local_date(now, zone), zone)
        if basis.fit is None:
            return []
        stored = queries.stored(db, basis)
        differing = []
        for ids in chunks(stored, STEP):
            anew = queries.reckon(db, ids, basis)
            differing += [item_id for item_id in ids if not are_close(stored[item_id], anew[item_id])]
        codes = codes_of(db, differing)
    return [
        f"{codes.get(item_id, item_id)}: the stored standing is not what its log says; run coilbook housekeeping"
        for item_id in differing
    ]


def are_close(one: Standing, other: Standing) -> bool:
    """Whether two standings are the same, but for what processors round differently."""
    if replace(one, chance=None) != replace(other, chance=None) or (one.chance is None) != (other.chance is None):
        return False
    if one.chance is None or other.chance is None:
        return True
    pairs = (one.chance.failed, other.chance.failed), (one.chance.if_tested, other.chance.if_tested)
    return all(math.isclose(mine, theirs, rel_tol=0, abs_tol=CLOSE) for mine, theirs in pairs)
