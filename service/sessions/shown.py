"""How pages of sessions call things."""

from collections.abc import Callable

from sqlalchemy.orm import Session

from service.crew.core import ProgramFacts
from service.gear.core import item_name
from service.gear.models import Place
from service.gear.queries import ItemFacts
from service.kit.lengths import Unit
from service.testlog.models import WorkSession


def title_of(program: ProgramFacts) -> Callable[[ItemFacts], str]:
    """How the program calls an item: by its label, else by what it is."""
    unit = Unit(program.unit)
    return lambda item: item.label or item_name(item.kind, item.length_mm, unit)


def place_name(db: Session, session: WorkSession) -> str:
    """The place that a session keeps to, empty where it keeps to none."""
    return db.get_one(Place, session.place_id).name if session.place_id else ""
