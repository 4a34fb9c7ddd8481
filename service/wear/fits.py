"""The fit of the program as it is stored, or made on the spot where housekeeping has not stored one yet."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache
from typing import TYPE_CHECKING
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from service.kit.dates import local_date
from service.store.sessions import cached
from service.wear.core.classes import ClassModels, Fitted
from service.wear.core.fit_document import VERSION, as_document, as_text, items_of, models_of, tables_of
from service.wear.models import WearFit

if TYPE_CHECKING:
    from service.wear.core.grid import Floats
    from service.wear.core.pooling import KnownLives
    from service.wear.core.program_fit import ProgramFit

ENOUGH = 50
"""A fit is made anew on the same day once one item in so many has other lives than it had then."""

_WHICH = select(WearFit.revision, WearFit.fitted_at)
_WHOLE = _WHICH.add_columns(WearFit.document, WearFit.tables)


@dataclass(frozen=True)
class StoredFit:
    """A fit with the models of its classes, when it was made, and which one it is."""

    revision: int
    fitted_at: datetime
    fit: "ProgramFit"
    models: ClassModels


def find_fit(db: Session) -> StoredFit | None:
    """The fit that is stored; None where there is none, or one of another version of the model."""
    revision = db.execute(_WHICH).first()
    if revision is None:
        return None
    memory = cached(db, "wear fit")
    which, stored = memory.get("stored", (None, None))
    if which != tuple(revision):
        row = db.execute(_WHOLE).one()
        read = _read(row.document, row.tables)
        stored = StoredFit(row.revision, row.fitted_at, *read) if read else None
        memory["stored"] = (row.revision, row.fitted_at), stored
    return stored  # type: ignore[no-any-return]


def fit_of(db: Session, known: "Mapping[UUID, KnownLives]") -> "ProgramFit":
    """The stored fit; where there is none, one to the class and the lives of all items, which are given."""
    stored = find_fit(db)
    return stored.fit if stored else fit_now(known)


def fit_now(known: "Mapping[UUID, KnownLives]") -> "ProgramFit":
    """A fit to the class and the lives of all items."""
    from service.wear.core.program_fit import fit_program  # numpy would slow the start of every command

    return fit_program(tuple((item_id, *of_item) for item_id, of_item in known.items()))


def is_outdated(stored: StoredFit | None, known: "Mapping[UUID, KnownLives]", today: date, zone: ZoneInfo) -> bool:
    """Whether a new fit is due: items show something else than at the stored one, and enough of them do or it is of an
    earlier day.
    """
    if stored is None:
        return True
    before = stored.fit.items
    changed = sum(before.get(item_id) != of_item for item_id, of_item in known.items())
    return changed * ENOUGH >= max(len(known), 1) or (changed > 0 and local_date(stored.fitted_at, zone) < today)


def set_fit(db: Session, document: str, tables: str, now: datetime) -> None:
    """Store a fit in the place of the one before."""
    row = db.get(WearFit, 1)
    revision = row.revision + 1 if row else 1
    db.merge(WearFit(id=1, revision=revision, fitted_at=now, document=document, tables=tables))


def as_columns(fit: "ProgramFit", models: ClassModels) -> tuple[str, str]:
    """A fit as it is stored: its document and its tables."""
    return json.dumps(as_document(fit, models), separators=(",", ":")), as_text(fit.tables)


def are_close(stored: StoredFit, fit: "ProgramFit", models: ClassModels) -> bool:
    """Whether a stored fit is this one, but for what processors round differently."""
    import numpy as np  # it would slow the start of every command

    pairs = [(stored.fit.tables.known, fit.tables.known), (stored.fit.tables.within, fit.tables.within)]
    if any(mine.keys() != other.keys() for mine, other in pairs) or models.fitted.keys() != stored.models.fitted.keys():
        return False
    numbers = [(mine[path], other[path]) for mine, other in pairs for path in mine]
    numbers += [(_numbers(stored.models.fitted[path]), _numbers(fitted)) for path, fitted in models.fitted.items()]
    return models.otherwise == stored.models.otherwise and all(
        np.allclose(mine, other, rtol=1e-6, atol=1e-12) for mine, other in numbers
    )


def _numbers(fitted: Fitted) -> "Floats":
    import numpy as np

    return np.array([(model.shape, model.scale) for model in (fitted.model, *fitted.edge)])


@lru_cache(maxsize=2)
def _read(document: str, tables: str) -> "tuple[ProgramFit, ClassModels] | None":
    """A fit from its columns, cached: sessions that write remember nothing else."""
    from service.wear.core.program_fit import ProgramFit  # numpy would slow the start of every command

    facts = json.loads(document)
    if facts["version"] != VERSION:
        return None
    return ProgramFit(tables_of(facts, tables), items_of(facts)), models_of(facts)
