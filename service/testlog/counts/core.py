"""What a count comes to: what was seen, what is missing, what was found again, what lives elsewhere. Pure."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from service.gear.core import ItemState


@dataclass(frozen=True)
class Seen:
    """That an item was seen: when, by whom, and at which place, empty where nobody said."""

    at: datetime
    by: str
    place: str


@dataclass(frozen=True)
class Outcome:
    """The items of a count. `found` were lost; `besides` were not expected: they live elsewhere, or were retired."""

    seen: Sequence[UUID]
    missing: Sequence[UUID]
    found: Sequence[UUID]
    besides: Sequence[UUID]


def outcome(expected: Sequence[UUID], seen: Mapping[UUID, Seen], states: Mapping[UUID, ItemState]) -> Outcome:
    """What a count comes to; `states` are those of all items expected or seen."""
    listed = set(expected)
    others = [item for item in seen if item not in listed]
    return Outcome(
        seen=[item for item in expected if item in seen],
        missing=[item for item in expected if item not in seen],
        found=[item for item in seen if states[item] is ItemState.LOST],
        besides=[item for item in others if states[item] is not ItemState.LOST],
    )
