"""What housekeeping does each day, in order: the chores that features offer."""

from service.crew.passphrases.queries import forget_tries
from service.retire.decisions.queries import limits
from service.testlog import housekeeping as testlog
from service.testlog.housekeeping import anonymize_names
from service.wear.housekeeping import chore as at_risk

CHORES = (
    *testlog.CHORES,
    at_risk(lambda db: limits(db).risk_percent / 100),
    testlog.Chore("names let go", anonymize_names),
    testlog.brief("tries to sign in forgotten", lambda db, _today, now: forget_tries(db, now)),
)
