"""Importing a sheet without keeping anybody from writing: it is worked out on a copy of the database (`store.drafts`),
and carried over if what it rests on is still so. What phones log meanwhile of the items that it changes is taken in.
"""

from collections.abc import Callable, Collection
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from service.crew.core import Who
from service.crew.models import AuditEntry
from service.exchange.sheets.actions import Brought, Setting, bring_in
from service.exchange.sheets.core.import_options import ImportRequest
from service.gear.models import Flag, Item, ItemLength, OwnWiring, Place, Placement, StateChange
from service.season.models import ItemSeason, RoundRow, SeasonRow
from service.store.drafts import AddedSince, OnProgress, PreparedWork, WorkResult, work_out
from service.store.sessions import Store
from service.tags.models import Tag
from service.testlog.models import Repair, Swap, Test, TestItem

_BOOK = (Item, Place, Placement, ItemLength, OwnWiring, Tag, SeasonRow, RoundRow, ItemSeason)
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
    on_progress: OnProgress = lambda _done, _many: None,
) -> PreparedWork[Brought]:
    """Work out what `bring_in` does, after `first`: writing it then takes a moment, and it is there all at once or not
    at all.

    Raises:
        Invalid: as `bring_in` does.
    """

    def do(db: Session) -> WorkResult[Brought]:
        first(db)
        return bring_in(db, request, who, setting, seen)

    return work_out(store, do, _changed, on_progress)


def _changed(meanwhile: AddedSince, brought: Brought) -> Collection[UUID] | None:
    """The items of which something was logged. None where gear, places, tags, seasons or settings are no longer as
    they were, or what was logged may change what becomes of a row: phones log what happens now, a sheet tells of
    earlier days, so what it says stays true beside it; only what follows from both is another.
    """
    if meanwhile.is_more(*_BOOK):
        return None
    if any(not action.startswith(_ASIDE) for (action,) in meanwhile.added(AuditEntry, AuditEntry.action)):
        return None
    tested = Test.id == TestItem.test_id
    logged = [
        *meanwhile.added(TestItem, TestItem.item_id, select(Test.tested_at).where(tested).scalar_subquery()),
        *meanwhile.added(Repair, Repair.item_id, Repair.at),
    ]
    if any(at <= last for item_id, at in logged if (last := brought.changes.get(item_id)) is not None):
        return None
    turned = {item_id for (item_id,) in meanwhile.added(StateChange, StateChange.item_id)}
    if any(item_id in brought.changes and brought.changes[item_id] is None for item_id in turned):
        return None
    flagged = {item_id for (item_id,) in meanwhile.added(Flag, Flag.item_id)}
    swapped = {item_id for pair in meanwhile.added(Swap, Swap.bad_id, Swap.spare_id) for item_id in pair}
    return {item_id for item_id, _ in logged} | turned | flagged | swapped
