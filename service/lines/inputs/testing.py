"""Testing a line: the test through all its items, and through each half of them once that failed.

The test itself is that of the test log, through several items: a pass proves every item on the line, a fail makes them
suspect until the bad one is found.
"""

from collections.abc import Sequence
from urllib.parse import urlencode

from service.lines.inputs.shown import LineStep


def test_of(steps: Sequence[LineStep]) -> str:
    """The address of the form for one test through these items, in their order."""
    first, *others = steps
    lane = next((step.lane for step in steps if step.lane), "")
    query = {"through": " ".join(step.code for step in others), "through_lane" if others else "lane": lane}
    given = {name: value for name, value in query.items() if value}
    return f"/t/{first.code}/test" + (f"?{urlencode(given)}" if given else "")


def halves(steps: Sequence[LineStep]) -> list[Sequence[LineStep]]:
    """The two halves of a line, the one towards the source first; none of a single item, which is tested alone."""
    middle = (len(steps) + 1) // 2
    return [steps[:middle], steps[middle:]] if len(steps) > 1 else []
