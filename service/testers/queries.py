"""Look-ups about testers, what a test was done with, and the wirings in use."""

from collections.abc import Sequence
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from service.gear.core import ItemState
from service.gear.models import Item
from service.gear.wirings import find_wiring
from service.kit.text import alike
from service.testlog.models import OwnTester, Test
from service.testlog.reach import through_wiring
from service.wiring.coverage import VISIBILITY_OF_METHOD
from service.wiring.tester import Tester, make_tester
from service.wiring.visibility import Visibility
from service.wiring.wirings import Readings


def testers(db: Session) -> Sequence[OwnTester]:
    """All testers by name, those in use first."""
    return db.scalars(select(OwnTester).order_by(OwnTester.ended_at.is_not(None), OwnTester.name)).all()


def testers_for(db: Session, wiring: str) -> Sequence[OwnTester]:
    """The testers in use that are described for a wiring."""
    return db.scalars(
        select(OwnTester).where(OwnTester.wiring == wiring, OwnTester.ended_at.is_(None)).order_by(OwnTester.name)
    ).all()


def tester(db: Session, tester_id: UUID) -> OwnTester | None:
    """One tester, in use or not."""
    return db.get(OwnTester, tester_id)


def name_is_taken(db: Session, name: str) -> bool:
    """Whether a tester has this name, in whatever case."""
    return any(alike(name, each) for each in db.scalars(select(OwnTester.name)))


def described(db: Session, own: OwnTester) -> Tester:
    """The tester as it was described."""
    return make_tester(own.name, find_wiring(db, own.wiring), own.sees, own.patterns, own.probed)


def looked_by(db: Session, test: Test) -> tuple[Visibility, frozenset[Readings]]:
    """How a test looked, and which faulty readings it took for a good cable: for what its pass leaves open."""
    own = tester(db, test.tester_id) if test.tester_id else None
    if own is None:
        return VISIBILITY_OF_METHOD[test.method], frozenset()
    lamps = described(db, own)
    return lamps.sees, lamps.mistaken


def wirings_in_use(db: Session) -> list[str]:
    """The wirings of all gear but the retired, and those by which several of it are tested in one go."""
    items = db.scalars(select(Item.wiring).where(Item.state != ItemState.RETIRED).distinct()).all()
    through = {through_wiring([(key, find_wiring(db, key))] * 2) for key in items}
    return sorted({*items, *through})
