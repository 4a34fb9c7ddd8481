"""Whether wear tells the truth, in programs whose wear is known: `.venv/bin/python -m tests.bench.wear [--programs N]`.

First how often the 95 % interval of a fit covers the truth, with the standard error of so many programs. Then whether
what is said to be at 10 % has failed by the event about 10 % of the time, by tenths of risk, with the standard error by
programs; the same for items whose own record sets them apart from their class; and whether as many events go well as
was said. Takes about two minutes.
"""

import argparse
import math
from collections.abc import Callable
from random import Random

from service.wear.core.doubt import edge
from service.wear.core.fit import fit
from service.wear.core.risk import works
from service.wear.core.weibull import Weibull
from tests.wear.simulated import Group, Said, by_risk, grouped, programs, seen_by_tests

ASKED: dict[str, Callable[[Weibull], float]] = {
    "shape": lambda model: model.shape,
    "good after 150 days": lambda model: model.survival(150),
    "days between tests": lambda model: model.interval(0.05),
}
TRUE = ((2.0, 300.0, 90), (0.7, 1200.0, 90), (1.5, 200.0, 25), (1.2, 800.0, 300))


def main() -> None:
    """Simulate, and print the tables."""
    parser = argparse.ArgumentParser(description="Hold wear against programs whose wear is known.")
    parser.add_argument("--programs", type=int, default=600, help="how many are simulated for each line")
    count = parser.parse_args().programs
    print(f"Covered by the 95 % interval, of {count} programs each, in % (standard error {error(0.95, count):.1f})")
    print(f"{'shape':>6}{'scale':>7}{'items':>7}{'fitted':>8}   " + "".join(f"{name:>21}" for name in ASKED))
    for shape, scale, items in TRUE:
        print(covered(Weibull(shape, scale, 0), items, count))
    said = [one for program in programs(count, 90) for one in program]
    print(f"\nFailed unseen by the event, in {count} programs of 90 items, in %")
    print(f"{'':24}{'items':>8}{'said':>8}{'was':>8}{'error':>8}{'off by':>8}")
    for number, group in enumerate(by_risk(said, 10), 1):
        print(line(f"tenth {number} by risk", group))
    print(line("all", grouped(said)))
    print(line("worse than its class", grouped(one for one in said if one.frailty > 1.25)))
    print(line("better than its class", grouped(one for one in said if one.frailty < 0.8)))
    print(f"\nEverything works, in {count} programs of 90 items, in %")
    for number, events in enumerate(by_risk(all_work(said), 4), 1):
        print(line(f"quarter {number}", events))


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


def all_work(said: list[Said]) -> list[Said]:
    """The same for whole events: the chance that everything works, and whether it did."""
    by_program: dict[int, list[Said]] = {}
    for one in said:
        by_program.setdefault(one.program, []).append(one)
    return [
        Said(number, works(one.chance for one in all_), 1.0, not any(one.failed for one in all_))
        for number, all_ in by_program.items()
    ]


def error(share: float, count: int) -> float:
    """The standard error of a share of so many, in %."""
    return 100 * math.sqrt(share * (1 - share) / count)


def line(name: str, group: Group) -> str:
    """A line of the table; the last figure is in standard errors."""
    shares = "".join(f"{100 * share:8.2f}" for share in (group.said, group.was, group.error))
    return f"{name:24}{group.items:8}{shares}{group.off:+8.1f}"


if __name__ == "__main__":
    main()
