"""What a count comes to: what was seen, what is missing, what was found again, what lives elsewhere. Pure."""

from collections.abc import Collection, Mapping, Sequence
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
    place_id: UUID | None = None


@dataclass(frozen=True)
class Outcome:
    """The items of a count. `missing` belong to places that were walked, `not_walked` to other places or to none, so
    their state is unknown. `found_again` were lost; `besides` were not expected: they live elsewhere, or were retired.
    `elsewhere` are all that were seen at a place where they do not live.
    """

    seen: Sequence[UUID]
    missing: Sequence[UUID]
    not_walked: Sequence[UUID]
    found_again: Sequence[UUID]
    besides: Sequence[UUID]
    elsewhere: Sequence[UUID]


def outcome(
    expected: Sequence[UUID],
    seen: Mapping[UUID, Seen],
    states: Mapping[UUID, ItemState],
    homes: Mapping[UUID, tuple[UUID | None, UUID | None]],
    walked: Collection[UUID],
) -> Outcome:
    """What a count comes to; `states` and `homes` (where each lives, by place) are of all items expected or seen."""
    listed = set(expected)
    others = [item for item in seen if item not in listed]
    return Outcome(
        seen=[item for item in expected if item in seen],
        missing=[item for item in expected if item not in seen and homes[item][0] in walked],
        not_walked=[item for item in expected if item not in seen and homes[item][0] not in walked],
        found_again=[item for item in seen if states[item] is ItemState.LOST],
        besides=[item for item in others if states[item] is not ItemState.LOST],
        elsewhere=[item for item, at in seen.items() if at.place_id is not None and at.place_id not in homes[item]],
    )
