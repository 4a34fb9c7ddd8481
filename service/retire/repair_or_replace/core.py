"""Keep, repair or replace: the cost of each choice until the end of the next season, and its risk. Pure.

The cost of a choice is its cost now plus the expected cost of later failures: each failure until then is assumed to be
repaired at once, or the item replaced if a new one costs less. The expected number of failures comes from wear, by the
item's own record and its class (`service.wear.core.pooling`): a repair makes an item as good as new but leaves its own
scale, and a new one is like its class. So age counts only as far as it shows in wear. An item that has not failed can
be kept as it is: that costs nothing now, and it fails at the age that it has.

The cheapest choice is taken, unless it reaches the program's limit of risk at the next event and another one is below
the limit with at most `MUCH_SAFER` of its chance: then the cheapest of these (common practice, no source). Assumptions:
money is not discounted, and an item is used on every day of season.

>>> wears = Expected(None, 0.13, 0.14), Expected(None, 0.12, 0.13)
>>> costs = ComparedCosts(RepairPrice(600), 1850, *wears, risk_limit=0.1)
>>> costs.repair.cents, costs.replace.cents, costs.better.value
(684, 1928, 'repair')
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from service.kit.dates import format_date
from service.kit.quantities import format_chance, format_money

MUCH_SAFER = 0.5
"""At most this part of a chance is much safer (common practice, no source)."""


class Choice(StrEnum):
    """What to do about an item. One with an open fault cannot be kept as it is."""

    KEEP = "keep"
    REPAIR = "repair"
    REPLACE = "replace"


class PriceSource(StrEnum):
    """Where the cost of a repair comes from."""

    LOG = "log"
    LEAD = "lead"
    DEFAULT = "default"


@dataclass(frozen=True)
class RepairPrice:
    """The cost of a repair in cents: the mean of so many `repairs` in the log, as a lead set it, or our default."""

    cents: int
    source: PriceSource = PriceSource.DEFAULT
    repairs: int = 0

    @property
    def source_in_words(self) -> str:
        """Where it comes from, as text to put after the amount; "" if a lead set it."""
        if self.source is PriceSource.LEAD:
            return ""
        return " (our default)" if self.source is PriceSource.DEFAULT else f" (mean of {self.repairs} in your log)"


@dataclass(frozen=True)
class Expected:
    """The expected failures of an item: the chance that it is bad at the next event (None if none is
    coming), the chance that it fails by the end of the next season, and the mean number of failures until then.
    """

    bad: float | None
    fails: float
    failures: float


@dataclass(frozen=True)
class Horizon:
    """The end of the next season, and how many days of season there are from tomorrow until then.

    `season` is its name; "" if nobody has entered it: it is then assumed to be as long as the last one, and `ends` is
    None.
    """

    season: str
    ends: date | None
    days: int

    def words(self, today: date) -> str:
        """The end in words."""
        if self.ends is None:
            return "the end of a next season as long as this one"
        return f"the end of {self.season}, {format_date(self.ends, today)}"


@dataclass(frozen=True)
class Course:
    """The cost of a choice in cents, now and later on average, and the expected failures of the item."""

    now: int
    later: float
    expected: Expected

    @property
    def cents(self) -> int:
        """The total cost in whole cents."""
        return round(self.now + self.later)


@dataclass(frozen=True)
class ComparedCosts:
    """A repair compared with a new item, and with keeping the item as it is.

    `new_cents` is None if the price of a new one is unknown. The expected failures of each, `repaired` and `new`, and
    the horizon `until` are None if there is no season: then nothing is compared. `as_it_is` is None if it has failed.
    """

    repair_price: RepairPrice
    new_cents: int | None
    repaired: Expected | None
    new: Expected | None
    risk_limit: float
    until: Horizon | None = None
    as_it_is: Expected | None = None

    @property
    def later_cents(self) -> int:
        """The cost of a later failure: a repair, or a new item if that is known to cost less."""
        return self.repair_price.cents if self.new_cents is None else min(self.repair_price.cents, self.new_cents)

    @property
    def keep(self) -> Course | None:
        """The cost of keeping it as it is; None if it has failed."""
        return self._course(0, self.as_it_is)

    @property
    def repair(self) -> Course | None:
        """The cost of repairing it; None if that is unknown."""
        return self._course(self.repair_price.cents, self.repaired)

    @property
    def replace(self) -> Course | None:
        """The cost of replacing it; None if that is unknown."""
        return None if self.new_cents is None else self._course(self.new_cents, self.new)

    @property
    def courses(self) -> dict[Choice, Course]:
        """The choices that there are, with what they cost, as far as known."""
        every = {Choice.KEEP: self.keep, Choice.REPAIR: self.repair, Choice.REPLACE: self.replace}
        return {choice: course for choice, course in every.items() if course}

    @property
    def cheapest(self) -> Choice | None:
        """The choice that costs least; at equal cost the one with fewer failures, then the one with less work; None if
        a price or the season is missing.
        """
        return None if self.repair is None or self.replace is None else _cheapest(self.courses)

    @property
    def better(self) -> Choice | None:
        """The choice to take; None if a price or the season is missing."""
        cheapest = self.cheapest
        if cheapest is None:
            return None
        bad = self.courses[cheapest].expected.bad
        if bad is None or bad < self.risk_limit:
            return cheapest
        most = MUCH_SAFER * bad
        safer = {
            choice: course
            for choice, course in self.courses.items()
            if course.expected.bad is not None and course.expected.bad < self.risk_limit and course.expected.bad <= most
        }
        return _cheapest(safer) if safer else cheapest

    def _course(self, now: int, expected: Expected | None) -> Course | None:
        return Course(now, self.later_cents * expected.failures, expected) if expected else None


def _cheapest(courses: Mapping[Choice, Course]) -> Choice:
    def cost(choice: Choice) -> tuple[float, float]:
        return courses[choice].now + courses[choice].later, courses[choice].expected.failures

    return min(courses, key=cost)


def horizon(seasons: Collection[tuple[str, date, date]], today: date) -> Horizon | None:
    """How far ahead choices are compared; `seasons` are names, first and last days. None without any.

    The next season is the first that begins after today. Days on which several seasons run count once.
    """
    coming = sorted((one for one in seasons if one[1] > today), key=lambda one: one[1:])
    if coming:
        name, _, ends = coming[0]
        return Horizon(name, ends, days_of_season(seasons, today, ends))
    if not seasons:
        return None
    _, starts, ends = max(seasons, key=lambda one: one[2])
    return Horizon("", None, days_of_season(seasons, today, ends) + (ends - starts).days + 1)


def days_of_season(seasons: Collection[tuple[str, date, date]], after: date, until: date) -> int:
    """How many days after `after` and up to `until`, that day included, belong to a season."""
    total, counted = 0, after.toordinal()
    for _, starts, ends in sorted(seasons, key=lambda one: one[1]):
        first, last = max(starts.toordinal(), counted + 1), min(ends, until).toordinal()
        if last >= first:
            total, counted = total + last - first + 1, last
    return total


def choice_in_words(costs: ComparedCosts, today: date) -> str:
    """A sentence: the better choice and why, or what is missing to compare them."""
    if costs.better is None:
        return costs_in_words(costs, today)
    why = "Repair it" if costs.better is Choice.REPAIR else "Replace it"
    repaired, new = (each.bad if each else None for each in (costs.repaired, costs.new))
    if costs.better is not costs.cheapest and repaired is not None and new is not None:
        limit = costs.risk_limit
        bad, bad_new = format_chance(repaired, new, limit=limit), format_chance(new, repaired, limit=limit)
        why += (
            f", though that costs more: {bad} chance that it is bad at the event if it is repaired, {bad_new} for a "
            f"new one (limit {round(100 * limit)} %)"
        )
    return f"{why}. {costs_in_words(costs, today)}"


def costs_in_words(costs: ComparedCosts, today: date) -> str:
    """Sentences: the cost and the chance of failure of both choices, as far as known, and what is missing."""
    repair = f"{format_money(costs.repair_price.cents)}{costs.repair_price.source_in_words}"
    if costs.until is None or costs.repaired is None or costs.new is None:
        return f"A repair is {repair}; there is no season to compare it with a new one for."
    fails, new = costs.repaired.fails, costs.new.fails
    chances = f"{format_chance(fails, new)} repaired, {format_chance(new, fails)} new"
    until = costs.until.words(today)
    if costs.repair is None or costs.replace is None or costs.new_cents is None:
        return (
            f"A repair is {repair}; nobody entered what a new one costs, so they are not compared. Chance "
            f"that it fails until {until}: {chances}."
        )
    return (
        f"A repair is {repair}, a new one {format_money(costs.new_cents)}; until {until}, they come to about "
        f"{format_money(costs.repair.cents)} and {format_money(costs.replace.cents)} with later repairs. Chance that "
        f"it fails by then: {chances}."
    )
