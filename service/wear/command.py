"""`coilbook wear`: how classes of items fail with use, without a database. Reads one class a line:

    {"id": "any", "lives": [[0, 30], [30, 60], [60, null], [45, 45]], "at": [30, 90], "unavailability": 0.01}

and answers with the Weibull model of maximum likelihood, survival at the times of `at`, and the interval between
tests. With

    {"id": "any", "lives": [], "known": {"shape": 1.8, "scale": 450}, "season": {"days": 90, "ages": [0], "tests": [9]}}

the model is given, and the answer also has the share of the season that items are failed and undetected.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import nan
from typing import Any, TextIO

from service.kit.jsonfields import list_of, number_of, object_of
from service.kit.jsonlines import answer_lines, lines_of
from service.kit.problems import Problem
from service.wear.core.fit import NoModel, fit
from service.wear.core.weibull import Weibull
from service.wear.json_lives import life_of


def main(stdin: TextIO, stdout: TextIO) -> int:
    """Answer each line of `stdin` on `stdout`; return the exit status, 1 if any line was refused."""
    return answer_lines(lines_of(stdin), stdout, _answer)


def _answer(line: dict[str, Any]) -> dict[str, Any]:
    lives = [life_of(life) for life in list_of(line, "lives")]
    times = [_time(time, 'A time in "at"') for time in list_of(line, "at")] if "at" in line else []
    unavailability = _unavailability(line["unavailability"]) if "unavailability" in line else None
    season = _season(object_of(line, "season")) if "season" in line else None
    known = _known(object_of(line, "known")) if "known" in line else None
    model = known or fit(lives)
    counts = {
        "failures": sum(life.count for life in lives if life.upper is not None),
        "lives": sum(life.count for life in lives),
    }
    if isinstance(model, NoModel):
        nothing = dict.fromkeys(("shape", "scale", "log_likelihood"))
        none = {"survival": [None] * len(times), "interval": None}
        bad = {"season_bad": None} if season else {}
        return {"id": line["id"], "model": "none", **nothing, **none, **counts, **bad, "why": model.why}
    return {
        "id": line["id"],
        "model": "known" if known else "weibull",
        "shape": model.shape,
        "scale": model.scale,
        "log_likelihood": None if known else model.log_likelihood,
        "survival": [model.survival(time) for time in times],
        "interval": None if unavailability is None else model.interval(unavailability),
        **counts,
        **({"season_bad": season.bad(model)} if season else {}),
    }


@dataclass(frozen=True)
class _Season:
    """A season: its days, the ages of its items on the first day, and the days of its tests."""

    days: float
    ages: Sequence[float]
    tests: Sequence[float]

    def bad(self, model: Weibull) -> float:
        """The share of the season that items are failed and undetected on average."""
        from service.wear.core.undetected import season_bad  # numpy would slow the start of the command

        return season_bad(model, self.days, self.ages, self.tests)


def _season(fields: Mapping[str, Any]) -> _Season:
    days = number_of(fields.get("days"), '"days" of a season')
    if days <= 0:
        raise Problem(f'"days" of a season is {days:g}; a season has more than 0.')
    ages = [_time(age, 'An age in "ages"') for age in list_of(fields, "ages", '"season"')]
    if not ages:
        raise Problem('"ages" of a season is empty; give the age of one item at least.')
    tests = [number_of(test, 'A day in "tests"') for test in list_of(fields, "tests", '"season"')]
    for test in tests:
        if not 0 <= test <= days:
            raise Problem(f'A day in "tests" is {test:g}; the season lasts from 0 to {days:g}.')
    for test, after in pairwise(tests):
        if after < test:
            raise Problem(f'In "tests" {after:g} comes after {test:g}; give the days in order.')
    return _Season(days, ages, tests)


def _known(fields: Mapping[str, Any]) -> Weibull:
    shape, scale = (number_of(fields.get(name), f'"{name}" of "known"') for name in ("shape", "scale"))
    for name, value in (("shape", shape), ("scale", scale)):
        if value <= 0:
            raise Problem(f'"{name}" of "known" is {value:g}; give a number above 0.')
    return Weibull(shape, scale, nan)


def _unavailability(value: Any) -> float:
    unavailability = number_of(value, '"unavailability"')
    if not 0 < unavailability < 1:
        raise Problem(f'"unavailability" is {unavailability:g}; give a fraction above 0 and below 1, like 0.01.')
    return unavailability


def _time(time: Any, what: str) -> float:
    number = number_of(time, what)
    if number < 0:
        raise Problem(f"{what} is {number:g}; times start at 0.")
    return number
