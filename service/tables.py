"""Every table, in one place: importing this module fills the metadata."""

from sqlalchemy import MetaData

from service.crew import models as crew
from service.gear import models as gear
from service.schedule.calendar import models as calendar
from service.schedule.reminders import models as reminders
from service.season import models as season
from service.store import lease, receipts
from service.store.base import Base
from service.tags import models as tags
from service.testlog import models as testlog
from service.wear import models as wear

__all__ = [
    "calendar",
    "crew",
    "gear",
    "lease",
    "metadata",
    "receipts",
    "reminders",
    "season",
    "tags",
    "testlog",
    "wear",
]

metadata: MetaData = Base.metadata
