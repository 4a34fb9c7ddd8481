"""Which backups are kept: all of the last day, then one a day, one a week, one a month. Pure."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any


@dataclass(frozen=True)
class Keep:
    """For how many days, weeks and months the newest backup is kept. Periods without a backup do not count."""

    days: int = 7
    weeks: int = 4
    months: int = 12


def to_keep(taken: Iterable[datetime], keep: Keep) -> set[datetime]:
    """The backups to keep, named by the instants (UTC) at which they were taken. The newest is always kept.

    Days, weeks (from Monday) and months are counted back from the newest backup and not from today, so that nothing
    is deleted while no new backups are made.

    >>> moments = [datetime(2026, 9, day) for day in range(1, 31)]
    >>> [f"{moment:%d}" for moment in sorted(to_keep(moments, Keep(days=2, weeks=3, months=1)))]
    ['20', '27', '29', '30']
    """
    newest_first = sorted(set(taken), reverse=True)
    chosen = {moment for moment in newest_first if newest_first[0] - moment < timedelta(days=1)}
    for count, period in _periods(keep):
        newest_of: dict[Any, datetime] = {}
        for moment in newest_first:
            newest_of.setdefault(period(moment), moment)
        chosen.update(list(newest_of.values())[:count])
    return chosen


def _periods(keep: Keep) -> list[tuple[int, Callable[[datetime], Any]]]:
    return [
        (keep.days, lambda moment: moment.date()),
        (keep.weeks, lambda moment: moment.isocalendar()[:2]),
        (keep.months, lambda moment: (moment.year, moment.month)),
    ]
