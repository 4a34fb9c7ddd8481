"""The pieces that a test went through, as the gear book has them: how they look together, and the lane it took."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol
from uuid import UUID

from sqlalchemy.orm import Session

from service.gear.core import KINDS, End
from service.gear.models import Port
from service.gear.queries import ports_of_items
from service.gear.wirings import CONNECTOR_NAMES, find_wiring
from service.kit.problems import invalid
from service.tags.queries import codes_of
from service.testlog.chains import Piece, Plug, check
from service.testlog.reach import ONE_LINE, lane_names, through_wiring
from service.wiring.naming import listed
from service.wiring.wirings import Wiring


class PluggedItem(Protocol):
    """An item, or what lists show of one."""

    @property
    def id(self) -> UUID: ...
    @property
    def kind(self) -> str: ...
    @property
    def wiring(self) -> str: ...


@dataclass(frozen=True)
class PluggedChain:
    """The wiring of each piece in order, and the key of the one that they look like together to a tester."""

    wirings: list[Wiring]
    key: str

    @property
    def lanes(self) -> tuple[str, ...]:
        """The lanes that a single line may take through the pieces that have several; none where none has."""
        several = [lane_names(wiring) for wiring in self.wirings if lane_names(wiring) != ONE_LINE]
        return tuple(lane for lane in several[0] if all(lane in names for names in several)) if several else ()

    def asks_for_lane(self, tested: Wiring) -> bool:
        """Whether a test by this wiring goes along a single line through a piece that has several."""
        return lane_names(tested) == ONE_LINE and bool(self.lanes)


def plugged(db: Session, items: Sequence[PluggedItem]) -> PluggedChain:
    """The pieces plugged into one another in this order.

    Raises:
        Invalid: for `through`, with the two that do not mate.
    """
    if len(items) > 1:
        ids = [item.id for item in items]
        codes, ports = codes_of(db, ids), ports_of_items(db, ids)
        check([piece_of(codes[item.id], item.kind, ports[item.id]) for item in items])
    return chain_of(db, items)


def chain_of(db: Session, items: Sequence[PluggedItem]) -> PluggedChain:
    """The same of a test that is in the log, or was in another: what was asked of it then is not asked again."""
    keys = [item.wiring for item in items]
    wirings = [find_wiring(db, key) for key in keys]
    return PluggedChain(wirings, through_wiring(list(zip(keys, wirings, strict=True))))


def lane_of_each(chain: PluggedChain, tested: Wiring, lane: str | None) -> list[str | None]:
    """The lane that a test by this wiring took of each piece, None where that needs no saying or was not said.

    Raises:
        Invalid: for `lane`, where the pieces have no such lane, or for `wiring`, where it has lanes and a piece none.
    """
    lanes = [lane_names(wiring) for wiring in chain.wirings]
    if lane_names(tested) != ONE_LINE:
        if lane is not None:
            raise invalid("lane", "This test tells each lane by itself. Leave the lane out.")
        if len(lanes) > 1 and ONE_LINE in lanes:
            raise invalid("wiring", "One of the pieces has a single line, so this is a test of one lane of the others.")
        return [None] * len(lanes)
    if lane is not None and lane not in chain.lanes:
        known = f"It is one of {listed(chain.lanes)}." if chain.lanes else "Leave it out."
        raise invalid("lane", f"The pieces have no lane “{lane[:40]}” that goes through all of them. {known}")
    return [None if names == ONE_LINE else lane for names in lanes]


def piece_of(code: str, kind: str, ports: Sequence[Port]) -> Piece:
    """An item with what it has at its two ends. The book does not tell what a fan-out's multicore connector is."""
    at: dict[str, list[Port]] = defaultdict(list)
    for port in ports:
        at[port.end].append(port)
    one_way = not KINDS[kind].is_box and len(at[End.A]) < len(at[End.B])
    ends = [
        Plug(
            here[0].type,
            CONNECTOR_NAMES.get(here[0].type, here[0].type),
            None if end is End.A and one_way else here[0].gender,
            len(here),
        )
        for end, here in ((end, at[end]) for end in End)
    ]
    return Piece(f"{KINDS[kind].page} {code}", (ends[0], ends[1]))
