"""Items in the answers of the API."""

from collections.abc import Sequence
from typing import Any
from uuid import UUID

from sqlalchemy.orm import Session

from service.home.items.queries import ItemRow, item_rows
from service.kit.quantities import Unit, format_length


def items_json(db: Session, item_ids: Sequence[UUID], unit: Unit) -> list[dict[str, Any]]:
    """These items, in this order, as JSON values."""
    rows = item_rows(db, item_ids)
    return [as_json(rows[item_id], unit) for item_id in item_ids]


def as_json(row: ItemRow, unit: Unit) -> dict[str, Any]:
    """An item as a JSON value: lengths in millimeters and in words, the price in dollars."""
    item = row.facts
    return {
        "id": str(item.id),
        "code": row.code,
        "kind": item.kind,
        "wiring": item.wiring,
        "label": item.label,
        "state": item.state,
        "due": _due(row),
        "flags": list(row.flags),
        "length_mm": item.length_mm or None,
        "length": format_length(item.length_mm, unit) if item.length_mm else None,
        "gauge_awg": item.gauge_awg,
        "place": item.place,
        "place_b": item.place_b,
        "strapped": item.strapped,
        "batch": item.batch,
        "bought_on": item.bought_on.isoformat() if item.bought_on else None,
        "price": None if item.price_cents is None else f"{item.price_cents // 100}.{item.price_cents % 100:02}",
        "in_service_on": item.in_service_on.isoformat(),
        "last_tested_at": row.last_tested_at.isoformat() if row.last_tested_at else None,
        "last_verdict": row.last_verdict,
    }


def _due(row: ItemRow) -> dict[str, Any] | None:
    if row.due is None:
        return None
    due_by = row.due_by.isoformat() if row.due_by else None
    return {"state": row.due, "due_by": due_by, "round": row.round}
