"""Importing a sheet without keeping anybody from writing: it is worked out on a copy of the database (`store.drafts`),
and carried over if what it rests on is still so.
"""

from collections.abc import Callable, Collection
from typing import Any
from uuid import UUID

from sqlalchemy.orm import Session

from service.crew.core import Who
from service.crew.models import AuditEntry
from service.exchange.sheets.actions import Setting, bring_in
from service.exchange.sheets.core.request import ImportRequest
from service.gear.models import Flag, Item, ItemLength, OwnWiring, Place, Placement, StateChange
from service.season.models import ItemSeason, RoundRow, SeasonRow
from service.store.drafts import Meanwhile, work_out
from service.store.sessions import Store
from service.tags.models import Tag
from service.testlog.models import Repair, Swap, TestItem

_BOOK = (Item, Place, Placement, ItemLength, OwnWiring, Tag, SeasonRow, RoundRow, ItemSeason)
_LOG: tuple[type[TestItem | Repair | StateChange | Flag], ...] = (TestItem, Repair, StateChange, Flag)
_ASIDE = (
    "address.",
    "calendar.",
    "devices.",
    "event.",
    "hand_over.",
    "pass.",
    "passphrase.",
    "person.",
    "prices.",
    "pull.",
    "session.",
    "signed.",
    "spares.",
    "tester.",
    "token.",
    "wear.",
)
"""What the audit trail tells that no import looks at, by how its words begin."""


def work_out_import(
    store: Store,
    request: ImportRequest,
    who: Who | None,
    setting: Setting,
    seen: str = "",
    first: Callable[[Session], object] = lambda _db: None,
) -> Callable[[Session], dict[str, Any]]:
    """Work out what `bring_in` does, after `first`: what is left to do in a write transaction, which takes a moment and
    is all of it or nothing. It gives the answer, or raises `Beaten`.

    Raises:
        Invalid: as `bring_in` does.
    """

    def do(db: Session) -> tuple[dict[str, Any], Collection[UUID]]:
        first(db)
        return bring_in(db, request, who, setting, seen)

    carry_over = work_out(store, do, _still_so)
    return lambda db: carry_over(db)[0]


def _still_so(meanwhile: Meanwhile, brought: tuple[Any, Collection[UUID]]) -> bool:
    """Whether gear, places, tags, seasons and settings are as they were, and nothing was logged of the items that the
    import changes. What phones log of other items is no matter.
    """
    if meanwhile.is_more(*_BOOK):
        return False
    if any(not action.startswith(_ASIDE) for (action,) in meanwhile.added(AuditEntry, AuditEntry.action)):
        return False
    logged = [row for model in _LOG for row in meanwhile.added(model, model.item_id)]
    swapped = meanwhile.added(Swap, Swap.bad_id, Swap.spare_id)
    return {item_id for row in (*logged, *swapped) for item_id in row}.isdisjoint(brought[1])
