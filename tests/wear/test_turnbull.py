"""The nonparametric estimate against published ones, a reference library, and what must hold for any lives."""

import math
from collections.abc import Callable
from random import Random

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from service.wear.core.lives import Life, aggregated
from service.wear.core.turnbull import Steps, SurvivalStep, innermost, turnbull
from tests.support.examples import examples
from tests.wear.test_fit import NIST, RADIOTHERAPY, WITH_CHEMOTHERAPY, lives, visits

# Turnbull's estimate for Finkelstein and Wolfe, Biometrics 41 (1985), with intervals (left, right]: from memory, and
# recomputed independently to all digits shown.
RADIOTHERAPY_STEPS = """
(4,5] .04635 (6,7] .03336 (7,8] .08867 (11,12] .07075 (24,25] .09265 (33,34] .08179 (38,40] .12088 (46,48] .46556"""
WITH_CHEMOTHERAPY_STEPS = """
(4,5] .04328 (5,8] .04328 (11,12] .06921 (16,17] .14540 (18,19] .14109 (19,20] .11575 (24,25] .09987 (30,31] .07088
(35,36] .16083 (44,48] .05521 (48,60] .05521"""


@pytest.mark.parametrize(
    ("rows", "printed"), [(RADIOTHERAPY, RADIOTHERAPY_STEPS), (WITH_CHEMOTHERAPY, WITH_CHEMOTHERAPY_STEPS)]
)
def test_the_classic_interval_censored_study(rows: str, printed: str) -> None:
    words = printed.split()
    expected = {bounds: float(share) for bounds, share in zip(words[::2], words[1::2], strict=True)}
    found = {f"({step.lower:g},{step.upper:g}]": step.share for step in turnbull(visits(rows)).steps}
    assert found.keys() == expected.keys()
    assert found == pytest.approx(expected, abs=6e-6)


def test_the_handbooks_example_of_exact_failures() -> None:
    """NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.1.3: ten of twenty failed by 386 hours, the rest ran on."""
    told = turnbull(NIST)
    assert told.survival(53) == (1, 1)
    assert told.survival(386) == pytest.approx((0.5, 0.5))
    assert told.survival(1e6) == pytest.approx((0, 0.5))


def test_the_leukemia_remission_data() -> None:
    """The 6-MP group of Freireich et al. (1963), as printed in textbooks; from memory, and by lifelines."""
    good = [6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35]
    told = turnbull([*(Life(t, t) for t in (6, 6, 6, 7, 10, 13, 16, 22, 23)), *(Life(t, None) for t in good)])
    printed = {6: 0.8571, 7: 0.8067, 10: 0.7529, 13: 0.6902, 16: 0.6275, 22: 0.5378, 23: 0.4482}
    assert {t: told.survival(t)[1] for t in printed} == pytest.approx(printed, abs=5e-5)


def test_the_convention_is_not_that_of_closed_intervals() -> None:
    """lifelines takes intervals as closed: on whole days [lower + 1, upper] there is (lower, upper] here."""
    rows = visits(RADIOTHERAPY)
    ours, half_open, closed = turnbull(rows), by_lifelines(rows, 1), by_lifelines(rows, 0)
    for day in (5, 7, 8, 12, 25, 34, 40):
        assert ours.survival(day)[1] == pytest.approx(half_open(day), abs=1e-4)
    assert [closed(day) for day in (5, 7, 11)] == pytest.approx([0.9507, 0.8481, 0.7609], abs=1e-4)


def by_lifelines(rows: list[Life], later: int) -> Callable[[int], float]:
    """Survival after a day; its table has beside each end what was there before it."""
    from lifelines import KaplanMeierFitter  # here, since it takes two seconds to import

    upper = [math.inf if life.upper is None else life.upper for life in rows]
    fitted = KaplanMeierFitter().fit_interval_censoring([life.lower + later for life in rows], upper)
    table = fitted.survival_function_["NPMLE_estimate_upper"]
    return lambda day: float(table[table.index > day].iloc[0])


def test_it_stands_beside_the_model_that_made_the_lives() -> None:
    """1,000 items, tested at their own times: off by no more than 0.08 (at the rate of a cube root; seeded)."""
    random, some = Random(11), []
    for _ in range(1000):
        failure, days = random.weibullvariate(80, 1.5), random.sample(range(1, 160), 8)
        good = max((day for day in days if day < failure), default=0)
        some.append(Life(good, min((day for day in days if day >= failure), default=None)))
    told = turnbull(some)
    for day in range(5, 150, 5):
        least, most = told.survival(day)
        assert least - 0.08 <= math.exp(-((day / 80) ** 1.5)) <= most + 0.08


times = st.integers(1, 12).map(float)


@given(st.lists(st.tuples(times, st.booleans()), min_size=1, max_size=20))
def test_without_intervals_it_is_kaplan_and_meiers(rows: list[tuple[float, bool]]) -> None:
    told = turnbull([Life(time, time if failed else None) for time, failed in rows])
    survival, by_hand = 1.0, {}
    for time in sorted({time for time, _ in rows}):
        failed = sum(each == time and bad for each, bad in rows)
        survival *= 1 - failed / sum(each >= time for each, _ in rows)
        by_hand[time] = survival
    assert {time: told.survival(time)[1] for time in by_hand} == pytest.approx(by_hand, abs=1e-7)


@examples(80)
@given(lives, st.data())
def test_no_shift_of_mass_is_likelier(some: list[Life], data: st.DataObject) -> None:
    assume(some)
    told, bounds = turnbull(some), innermost(aggregated(some))
    assert math.fsum(step.share for step in told.steps) == pytest.approx(1)
    shares = dict.fromkeys(bounds, 0.0) | {
        (step.lower, math.inf if step.upper is None else step.upper): step.share for step in told.steps
    }
    best = log_likelihood(some, shares)
    assert told.log_likelihood == pytest.approx(best, abs=1e-9)
    giver, taker = data.draw(st.sampled_from(bounds)), data.draw(st.sampled_from(bounds))
    for part in (0.01, 0.1, 1):
        moved = shares[giver] * part
        shifted = shares | {giver: shares[giver] - moved}
        shifted[taker] += moved
        assert log_likelihood(some, shifted) <= best + 1e-7


@given(lives)
def test_it_explains_itself(some: list[Life]) -> None:
    """Self-consistency: each life shared out over the steps within its bounds gives the steps again."""
    told = turnbull(some)
    shared = dict.fromkeys(told.steps, 0.0)
    for life in some:
        within = [step for step in told.steps if holds(life, step.lower, step.upper)]
        for step in within:
            shared[step] += life.count * step.share / math.fsum(each.share for each in within)
    for time in (0.0, *(end for step in told.steps for end in (step.lower, step.upper) if end is not None)):
        assert 0 <= told.survival(time)[0] <= told.survival(time)[1] <= 1
    total = sum(life.count for life in some)
    for step, amount in shared.items():
        assert amount / total == pytest.approx(step.share, abs=1e-4)


def log_likelihood(some: list[Life], shares: dict[tuple[float, float], float]) -> float:
    """The definition, term by term; minus infinity where a life is held to be impossible."""
    held = [(life.count, math.fsum(share for bounds, share in shares.items() if holds(life, *bounds))) for life in some]
    return math.fsum(count * math.log(share) if share > 0 else -math.inf for count, share in held)


def holds(life: Life, lower: float, upper: float | None) -> bool:
    """Whether an innermost interval lies within a life's bounds, told by a moment inside it."""
    upper = math.inf if upper is None else upper
    inside = upper if lower == upper else lower + 0.25
    if life.upper == life.lower:
        return lower == upper == life.lower
    return life.lower < inside and (life.upper is None or inside <= life.upper)


def test_the_worked_example_and_nothing_at_all() -> None:
    assert turnbull([Life(0, 2), Life(1, 3)]).steps == (SurvivalStep(1, 2, 1.0),)
    assert turnbull([]) == Steps((), 0.0)
    assert turnbull([Life(40, None, 3)]).steps == (SurvivalStep(40, None, 1.0),)
    assert turnbull([Life(40, None, 3)]).survival(40) == (1, 1)
