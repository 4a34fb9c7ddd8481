"""The most likely Weibull model with a hundred digits, straight from the definition of the likelihood."""

import math
from collections.abc import Sequence
from decimal import Context, Decimal, localcontext

from service.wear.core.lives import Life

_DIGITS = Context(prec=110, Emin=-(10**15), Emax=10**15)
_BESIDE = Decimal("1e-20")
_SMALL = Decimal("1e-30")  # the next term of the series is beyond all digits


def log_likelihood(lives: Sequence[Life], alpha: Decimal, k: Decimal, middle: Decimal) -> Decimal:
    """Term by term, where the cumulative hazard at t is exp(alpha + k log(t / middle))."""

    def hazard(time: float) -> Decimal:
        return (alpha + k * (Decimal(time) / middle).ln()).exp() if time else Decimal(0)

    def term(life: Life) -> Decimal:
        if life.upper is None:
            return -hazard(life.lower)
        if life.upper == life.lower:
            good = hazard(life.lower)
            return (k * good / Decimal(life.lower)).ln() - good
        between = hazard(life.upper) - hazard(life.lower)
        share = 1 - (-between).exp() if between > _SMALL else between - between**2 / 2 + between**3 / 6
        return share.ln() - hazard(life.lower)

    return sum((life.count * term(life) for life in lives), Decimal(0))


def likeliest_near(lives: Sequence[Life], shape: float, scale: float) -> tuple[float, float, float] | None:
    """Shape, scale and log-likelihood of the maximum, by Newton's method from a model; None if it does not lead there.

    The log-likelihood is concave in (alpha, k): where its derivatives are 0 is the one maximum.
    """
    with localcontext(_DIGITS):
        middle, alpha, k = Decimal(scale), Decimal(0), Decimal(shape)
        for _ in range(12):
            across, along = _BESIDE, _BESIDE * k

            def at(i: int, j: int) -> Decimal:
                return log_likelihood(lives, alpha + i * across, k + j * along, middle)  # noqa: B023

            here = at(0, 0)
            g = (at(1, 0) - at(-1, 0)) / (2 * across), (at(0, 1) - at(0, -1)) / (2 * along)
            haa = (at(1, 0) - 2 * here + at(-1, 0)) / across**2
            hkk = (at(0, 1) - 2 * here + at(0, -1)) / along**2
            hak = (at(1, 1) - at(1, -1) - at(-1, 1) + at(-1, -1)) / (4 * across * along)
            det = haa * hkk - hak * hak
            if haa >= 0 or det <= 0:
                return None
            da, dk = -(hkk * g[0] - hak * g[1]) / det, -(haa * g[1] - hak * g[0]) / det
            if k + dk <= 0:
                return None
            alpha, k = alpha + da, k + dk
            if abs(da) < Decimal("1e-15") and abs(dk / k) < Decimal("1e-15"):
                log_scale = float(middle.ln() - alpha / k)
                return float(k), math.exp(log_scale), float(at(0, 0))
    return None
