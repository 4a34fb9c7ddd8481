"""Importing a sheet without blocking other writes: it is done on a copy of the database (`store.drafts`), and written
if the data that it depends on is unchanged. Tests of its items that phones log meanwhile are taken into account.
"""

from collections.abc import Callable, Collection
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from service.crew.core import Who
from service.crew.models import AuditEntry
from service.exchange.sheets.actions import ImportResult, Setting, import_sheet
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
"""The beginnings of entries of the audit trail that no import depends on."""


def work_out_import(
    store: Store,
    request: ImportRequest,
    who: Who | None,
    setting: Setting,
    seen: str = "",
    first: Callable[[Session], object] = lambda _db: None,
    on_progress: OnProgress = lambda _done, _many: None,
) -> PreparedWork[ImportResult]:
    """Do what `import_sheet` does on a copy, after `first`: then writing it takes a moment, and all of it is written or
    nothing.

    Raises:
        Invalid: as `import_sheet`.
    """

    def do(db: Session) -> WorkResult[ImportResult]:
        first(db)
        return import_sheet(db, request, who, setting, seen)

    return work_out(store, do, _changed, on_progress)


def _changed(meanwhile: AddedSince, result: ImportResult) -> Collection[UUID] | None:
    """The items for which something was logged meanwhile. None if gear, places, tags, seasons or settings have changed,
    or if what was logged may change the status of a row. Phones log what happens now and a sheet is about earlier days,
    so usually its rows stay valid, and only the follow-ups change.
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
    if any(at <= last for item_id, at in logged if (last := result.changes.get(item_id)) is not None):
        return None
    turned = {item_id for (item_id,) in meanwhile.added(StateChange, StateChange.item_id)}
    if any(item_id in result.changes and result.changes[item_id] is None for item_id in turned):
        return None
    flagged = {item_id for (item_id,) in meanwhile.added(Flag, Flag.item_id)}
    swapped = {item_id for pair in meanwhile.added(Swap, Swap.bad_id, Swap.spare_id) for item_id in pair}
    return {item_id for item_id, _ in logged} | turned | flagged | swapped
