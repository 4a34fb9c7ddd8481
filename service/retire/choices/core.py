"""Repair or replace: what each choice costs until the end of the next season, and the risk that it brings. Pure.

A choice costs what it costs now, and what is to be expected later: every failure until then is taken to be found and
repaired at once, or the piece replaced where a new one costs less. How often that is, wear tells, from the item's own
record and its class (`service.wear.core.pooling`): a repair makes an item as good as new but for what is peculiar to
it, and a new one is like its class. So age counts as far as it shows in wear, and not by itself.

The cheaper choice is taken. Only where it reaches the program's limit of risk at the next event, and the other one
stays below it with no more than half that chance, the other one is (common practice, no source). Money is not
discounted, and a piece is taken to be used on every day of season (assumptions).

>>> wears = Expected(None, 0.13, 0.14), Expected(None, 0.12, 0.13)
>>> costs = ComparedCosts(RepairPrice(600), 1850, *wears, risk_limit=0.1)
>>> costs.repair.cents, costs.replace.cents, costs.better.value
(684, 1928, 'repair')
"""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from service.kit.dates import format_date
from service.kit.quantities import format_chance, format_money

MUCH_SAFER = 0.5
"""Of a chance at most this part (common practice, no source)."""


class Choice(StrEnum):
    """What is done about a piece with an open fault."""

    REPAIR = "repair"
    REPLACE = "replace"


class PriceSource(StrEnum):
    """Who says what a repair comes to."""

    LOG = "log"
    LEAD = "lead"
    DEFAULT = "default"


@dataclass(frozen=True)
class RepairPrice:
    """Cents that a repair comes to: the mean of so many `repairs` in the log, a lead's word, or our default."""

    cents: int
    source: PriceSource = PriceSource.DEFAULT
    repairs: int = 0

    @property
    def source_in_words(self) -> str:
        """Who says so, to stand behind the amount; nothing where a lead did."""
        if self.source is PriceSource.LEAD:
            return ""
        return " (our default)" if self.source is PriceSource.DEFAULT else f" (mean of {self.repairs} in your log)"


@dataclass(frozen=True)
class Expected:
    """What is to be expected of a piece that is as good as new: the chance that it is bad at the next event (None where
    none is coming), the chance that it fails until the end of the next season, and how often on average.
    """

    bad: float | None
    fails: float
    failures: float


@dataclass(frozen=True)
class Horizon:
    """The end of the next season, and how many days of season there are until then, from tomorrow on.

    `season` is its name; "" where it is not in the book: then it is taken to be as long as the last one, and `ends` is
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
    """What a choice costs in cents, now and later, and what is to be expected of the piece."""

    now: int
    later: float
    expected: Expected

    @property
    def cents(self) -> int:
        """What it costs in all, in whole cents."""
        return round(self.now + self.later)


@dataclass(frozen=True)
class ComparedCosts:
    """A repair beside a new one. `new_cents` is None where nobody knows what a new one costs; what is expected of each,
    and `until`, are None where there is no season to reckon until: then nothing is compared.
    """

    repair_price: RepairPrice
    new_cents: int | None
    repaired: Expected | None
    new: Expected | None
    risk_limit: float
    until: Horizon | None = None

    @property
    def later_cents(self) -> int:
        """What a failure to come costs: a repair, or a new one where that is known to cost less."""
        return self.repair_price.cents if self.new_cents is None else min(self.repair_price.cents, self.new_cents)

    @property
    def repair(self) -> Course | None:
        """What repairing it costs."""
        return self._course(self.repair_price.cents, self.repaired)

    @property
    def replace(self) -> Course | None:
        """What a new one costs in its place."""
        return None if self.new_cents is None else self._course(self.new_cents, self.new)

    @property
    def cheaper(self) -> Choice | None:
        """Which one costs less; at equal cost the one that fails less often, and a repair if they are alike."""
        if self.repair is None or self.replace is None:
            return None
        costs = [(each.now + each.later, each.expected.failures) for each in (self.repair, self.replace)]
        return Choice.REPLACE if costs[1] < costs[0] else Choice.REPAIR

    @property
    def better(self) -> Choice | None:
        """Which one to take; None where a price or the season is missing."""
        cheaper = self.cheaper
        if cheaper is None or self.repaired is None or self.new is None:
            return cheaper
        mine, other = (self.repaired, self.new) if cheaper is Choice.REPAIR else (self.new, self.repaired)
        if mine.bad is None or other.bad is None or mine.bad < self.risk_limit:
            return cheaper
        if other.bad >= self.risk_limit or other.bad > MUCH_SAFER * mine.bad:
            return cheaper
        return Choice.REPLACE if cheaper is Choice.REPAIR else Choice.REPAIR

    def _course(self, now: int, expected: Expected | None) -> Course | None:
        return Course(now, self.later_cents * expected.failures, expected) if expected else None


def horizon(seasons: Collection[tuple[str, date, date]], today: date) -> Horizon | None:
    """How long choices are compared for, by the seasons that there are: name, first and last day; None without any.

    The next season is the first one to begin after today. Days on which several seasons run count once.
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
    """How many days after the one and until the other, that one included, are of any season."""
    total, counted = 0, after.toordinal()
    for _, starts, ends in sorted(seasons, key=lambda one: one[1]):
        first, last = max(starts.toordinal(), counted + 1), min(ends, until).toordinal()
        if last >= first:
            total, counted = total + last - first + 1, last
    return total


def choice_in_words(costs: ComparedCosts, today: date) -> str:
    """Which choice is better, and why; what is missing, where that cannot be told."""
    if costs.better is None:
        return costs_in_words(costs, today)
    why = "Repair it" if costs.better is Choice.REPAIR else "Replace it"
    repaired, new = (each.bad if each else None for each in (costs.repaired, costs.new))
    if costs.better is not costs.cheaper and repaired is not None and new is not None:
        limit = costs.risk_limit
        why += (
            f", though that costs more: {format_chance(repaired, limit, new)} chance that it is bad at the event if it "
            f"is repaired, {format_chance(new, limit, repaired)} for a new one (limit {round(100 * limit)} %)"
        )
    return f"{why}. {costs_in_words(costs, today)}"


def costs_in_words(costs: ComparedCosts, today: date) -> str:
    """What both choices cost, and the chance to fail with each, as far as that is known; what is missing."""
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
