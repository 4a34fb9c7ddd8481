"""What housekeeping does each day, in order: the chores that features offer."""

from service.testlog import housekeeping as testlog

CHORES = testlog.CHORES
