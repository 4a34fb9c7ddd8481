"""Every table, in one place: importing this module fills the metadata."""

from sqlalchemy import MetaData

from service.crew import models as crew
from service.crew.passphrases import models as passphrases
from service.exchange.handover import models as handover
from service.gear import models as gear
from service.lines.checks import models as line_checks
from service.lines.drills import models as drills
from service.lines.inputs import models as input_lists
from service.retire.decisions import models as decisions
from service.retire.lists import models as pull_lists
from service.retire.spares import models as spares
from service.retire.standings import models as standings
from service.rig import models as rigs
from service.schedule.calendar import models as calendar
from service.schedule.reminders import models as reminders
from service.season import models as season
from service.store import backup, idle, lease, receipts
from service.store.base import Base
from service.swaps import models as swaps
from service.tags import models as tags
from service.testlog import models as testlog
from service.wear import models as wear

__all__ = [
    "backup",
    "calendar",
    "crew",
    "decisions",
    "drills",
    "gear",
    "handover",
    "idle",
    "input_lists",
    "lease",
    "line_checks",
    "metadata",
    "passphrases",
    "pull_lists",
    "receipts",
    "reminders",
    "rigs",
    "season",
    "spares",
    "standings",
    "swaps",
    "tags",
    "testlog",
    "wear",
]

metadata: MetaData = Base.metadata
