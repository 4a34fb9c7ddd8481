"""Queries for the offline package."""

from collections.abc import Collection
from datetime import datetime
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from service.season.models import ItemDue


def last_verdicts(db: Session, item_ids: Collection[UUID]) -> dict[UUID, tuple[str, datetime]]:
    """The last verdict of each item that has one, and when, without names."""
    query = select(ItemDue.item_id, ItemDue.last_verdict, ItemDue.last_tested_at).where(
        ItemDue.item_id.in_(item_ids), ItemDue.last_verdict.is_not(None), ItemDue.last_tested_at.is_not(None)
    )
    return {item_id: (verdict, at) for item_id, verdict, at in db.execute(query) if verdict and at}
