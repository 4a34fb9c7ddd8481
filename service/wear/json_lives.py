"""Reading the lives in a line of JSON. A refusal names what is wrong."""

from typing import Any

from service.kit.jsonfields import number_of
from service.kit.problems import Problem
from service.wear.core.lives import Life


def life_of(life: Any) -> Life:
    """A life from `[lower, upper]` or `[lower, upper, count]`."""
    if not isinstance(life, list) or len(life) not in (2, 3):
        raise Problem('Each of "lives" must be [lower, upper] or [lower, upper, count].')
    lower = number_of(life[0], "The lower bound of a life")
    upper = None if life[1] is None else number_of(life[1], "The upper bound of a life")
    count = number_of(life[2], "The count of a life") if len(life) == 3 else 1
    if count != int(count):
        raise Problem(f"The count of a life is {count:g}; give a whole number.")
    return Life(lower, upper, int(life[2]) if len(life) == 3 else 1)
