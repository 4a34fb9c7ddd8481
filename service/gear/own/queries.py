"""Queries about a program's own wirings, including those that have ended."""

from collections.abc import Sequence

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from service.gear.models import Item, OwnWiring
from service.kit.text import alike


def every_own_wiring(db: Session) -> Sequence[OwnWiring]:
    """All own wirings by name, those that are still offered first."""
    return db.scalars(select(OwnWiring).order_by(OwnWiring.ended_at.is_not(None), OwnWiring.name)).all()


def name_is_taken(db: Session, name: str) -> bool:
    """Whether an own wiring has this name, ignoring case."""
    return any(alike(name, each) for each in db.scalars(select(OwnWiring.name)))


def key_is_taken(db: Session, key: str) -> bool:
    """Whether an own wiring has this key."""
    return db.scalar(select(OwnWiring.id).where(OwnWiring.key == key)) is not None


def items_with(db: Session, key: str) -> int:
    """How many items have this wiring."""
    return db.scalar(select(func.count()).select_from(Item).where(Item.wiring == key)) or 0
