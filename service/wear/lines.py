"""`coilbook wear`: how classes of items fail with use, without a database. One class a line:

    {"id": "any", "lives": [[0, 30], [30, 60], [60, null], [45, 45]], "at": [30, 90], "unavailability": 0.01}

answers with the Weibull model of maximum likelihood, survival at the times asked, and the interval between tests.
"""

from collections.abc import Mapping
from math import inf
from typing import Any, Final, TextIO

from service.kit.jsonlines import answer_lines, lines_of
from service.kit.problems import Problem
from service.wear.core.fit import NoModel, fit
from service.wear.core.lives import Life

_BEYOND: Final = 1e100
"""No count of days comes near; powers of it would not fit a number."""


def main(stdin: TextIO, stdout: TextIO) -> int:
    """Answer each class of `stdin` on `stdout`; the exit status is 1 if any line was refused."""
    return answer_lines(lines_of(stdin), stdout, _answer)


def _answer(asked: dict[str, Any]) -> dict[str, Any]:
    lives = [_life(life) for life in _list(asked, "lives")]
    times = [_time(time) for time in _list(asked, "at")]
    unavailability = _number(asked.get("unavailability"), '"unavailability"')
    if not 0 < unavailability < 1:
        raise Problem(f'"unavailability" is {unavailability:g}; give a fraction above 0 and below 1, like 0.01.')
    model = fit(lives)
    counts = {
        "failures": sum(life.count for life in lives if life.upper is not None),
        "lives": sum(life.count for life in lives),
    }
    if isinstance(model, NoModel):
        nothing = dict.fromkeys(("shape", "scale", "log_likelihood"))
        none = {"survival": [None] * len(times), "interval": None}
        return {"id": asked["id"], "model": "none", **nothing, **none, **counts, "why": model.why}
    return {
        "id": asked["id"],
        "model": "weibull",
        "shape": model.shape,
        "scale": model.scale,
        "log_likelihood": model.log_likelihood,
        "survival": [model.survival(time) for time in times],
        "interval": model.interval(unavailability),
        **counts,
    }


def _life(life: Any) -> Life:
    if not isinstance(life, list) or len(life) not in (2, 3):
        raise Problem('Each of "lives" must be [lower, upper] or [lower, upper, count].')
    lower = _number(life[0], "The lower bound of a life")
    upper = None if life[1] is None else _number(life[1], "The upper bound of a life")
    count = _number(life[2], "The count of a life") if len(life) == 3 else 1
    if count != int(count):
        raise Problem(f"The count of a life is {count:g}; give a whole number.")
    return Life(lower, upper, int(life[2]) if len(life) == 3 else 1)


def _time(time: Any) -> float:
    number = _number(time, 'A time in "at"')
    if number < 0:
        raise Problem(f'A time in "at" is {number:g}; times start at 0.')
    return number


def _list(asked: Mapping[str, Any], name: str) -> list[Any]:
    found = asked.get(name)
    if not isinstance(found, list):
        raise Problem(f'The line lacks "{name}", a list.')
    return found


def _number(value: Any, what: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < inf:
        raise Problem(f"{what} must be a number, and it is {repr(value)[:40]}.")
    if abs(value) >= _BEYOND:
        raise Problem(f"{what} is {repr(value)[:40]}; give a number below {_BEYOND:g}.")
    return float(value)
