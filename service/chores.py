"""What housekeeping does each day, in order: the chores that features offer; and what they verify."""

from datetime import datetime

from service.crew.passphrases.queries import forget_tries
from service.retire.decisions.queries import limits
from service.retire.standings import housekeeping as standings
from service.store.sessions import Store
from service.testlog import housekeeping as testlog
from service.testlog.housekeeping import anonymize_names
from service.wear import housekeeping as wear

CHORES = (
    *testlog.CHORES,
    wear.REFIT,
    standings.REFRESH,
    wear.chore(lambda db: limits(db).risk_percent / 100),
    testlog.Chore("names let go", anonymize_names),
    testlog.brief("tries to sign in forgotten", lambda db, _today, now: forget_tries(db, now)),
)


def verify(store: Store, now: datetime) -> list[str]:
    """Reckon anew all that is stored beside the log, without writing; a line for each that differs."""
    return [*testlog.verify(store, now), *wear.verify(store), *standings.verify(store, now)]
