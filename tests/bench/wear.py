"""Whether wear tells the truth, in programs whose wear is known: `.venv/bin/python -m tests.bench.wear [--programs N]`.

First how often the 95 % interval of a fit covers the truth, with the standard error of so many programs. Then whether
what is said to be at 10 % is at 10 %, by tenths of risk, and for items that failed again and again, against the chances
that are true; the difference of the sums is in standard deviations of how many fail. Last how many are bad on the day
of an event once what the service names is tested, against plain rules. Takes some minutes.
"""

import argparse
import math
from collections.abc import Callable
from random import Random
from statistics import mean, stdev

from service.wear.core.classes import failures_of
from service.wear.core.confidence import edge
from service.wear.core.fit import fit
from service.wear.core.pooling import bad_at_event
from service.wear.core.weibull import Weibull
from tests.wear import event_day
from tests.wear.pooled import Group, Kind, grouped, programs, tenths
from tests.wear.simulated import seen_by_tests

ASKED: dict[str, Callable[[Weibull], float]] = {
    "shape": lambda model: model.shape,
    "good after 150 days": lambda model: model.survival(150),
    "days between tests": lambda model: model.interval(0.05),
}
TRUE = ((2.0, 300.0, 90), (0.7, 1200.0, 90), (1.5, 200.0, 25), (1.2, 800.0, 300))

KINDS = {"classes and items differ": Kind(), "tests find 80 %": Kind(found=0.8)}


def main() -> None:
    """Simulate, and print the tables."""
    parser = argparse.ArgumentParser(description="Hold wear against programs whose wear is known.")
    parser.add_argument("--programs", type=int, default=150, help="how many are simulated for each line")
    count = parser.parse_args().programs
    print(f"Covered by the 95 % interval, of {count} programs each, in % (standard error {error(0.95, count):.1f})")
    print(f"{'shape':>6}{'scale':>7}{'items':>7}{'fitted':>8}   " + "".join(f"{name:>21}" for name in ASKED))
    for shape, scale, items in TRUE:
        print(covered(Weibull(shape, scale, 0), items, count))
    for name, kind in KINDS.items():
        tell(name, kind, count)
    for name, kind in KINDS.items():
        on_the_day(name, kind, count)


def tell(name: str, kind: Kind, count: int) -> None:
    """Print what is said of the items of such programs, and what is true."""
    said: list[float] = []
    true: list[float] = []
    repeated: list[bool] = []
    for items, chances in programs(kind, count):
        said += bad_at_event(items)
        true += chances
        repeated += [failures_of(item.lives) >= 2 for item in items]
    print(f"\nBad unknown at the event, {name}, in {count} programs, in %")
    print(f"{'':24}{'said':>8}{'true':>8}{'off by':>8}")
    for number, group in enumerate(tenths(said, true), 1):
        print(line(f"tenth {number} by risk", group))
    print(line("all", grouped(said, true)))
    own = [number for number, often in enumerate(repeated) if often]
    print(line("failed twice or more", grouped([said[at] for at in own], [true[at] for at in own])))


def on_the_day(name: str, kind: Kind, count: int) -> None:
    """Print how many are bad on the day with each rule's tests, and how many fewer the service's own leave."""
    counts: dict[str, list[float]] = {"what is named": [], **{rule: [] for rule in event_day.PLAIN}}
    for number, items in enumerate(event_day.programs(kind, count)):
        counts["what is named"].append(event_day.left(items, event_day.named(event_day.told(items))))
        for rule, names in event_day.PLAIN.items():
            counts[rule].append(event_day.left(items, names(items, Random(number))))
    print(f"\nBad on the day a program, {event_day.NAMED} tested before, {name}")
    for rule, each in counts.items():
        fewer = [other - mine for other, mine in zip(each, counts["what is named"], strict=True)]
        print(f"{rule:24}{mean(each):8.2f}   more by {mean(fewer):5.2f} ± {stdev(fewer) / math.sqrt(count):.2f}")


def covered(true: Weibull, items: int, count: int) -> str:
    """How often each quantity's interval holds the truth, of programs that tell a model."""
    random, within, fitted = Random(f"{true}-{items}"), dict.fromkeys(ASKED, 0), 0
    for _ in range(count):
        lives = seen_by_tests(random, true, items)
        model = fit(lives)
        if isinstance(model, Weibull):
            fitted += 1
            plausible = edge(lives, model)
            for name, quantity in ASKED.items():
                told = [quantity(each) for each in plausible]
                within[name] += min(told) <= quantity(true) <= max(told)
    shares = "".join(f"{100 * held / fitted:21.1f}" for held in within.values())
    return f"{true.shape:6.1f}{true.scale:7.0f}{items:7}{fitted:8}   {shares}"


def error(share: float, count: int) -> float:
    """The standard error of a share of so many, in %."""
    return 100 * math.sqrt(share * (1 - share) / count)


def line(name: str, group: Group) -> str:
    """A line of the table; the last figure is in standard deviations."""
    return f"{name:24}{100 * group.said:8.2f}{100 * group.true:8.2f}{group.off:+8.1f}"


if __name__ == "__main__":
    main()
