"""The model of a kind of gear that has too few failures for a fit: a prior, updated by its lives. Pure.

The prior is that of `pooling`: shapes mostly from 1 to 2.5, scales mostly from 250 to 900 exposure days. Many
lives that were good for long raise the scale even if nothing failed.
"""

import math
from functools import lru_cache

import numpy as np

from service.wear.core.classes import Fitted
from service.wear.core.confidence import DEPTH
from service.wear.core.grid import LOG_SCALES, LOG_SHAPES, log_likelihoods
from service.wear.core.lives import Life
from service.wear.core.pooling import LOG_SCALE, LOG_SHAPE
from service.wear.core.weibull import Weibull


@lru_cache(maxsize=64)
def assumed(lives: tuple[Life, ...]) -> Fitted:
    """The posterior mean after these lives, of which there may be none, and the outermost plausible models.

    Plausible are those whose log-posterior is below the maximum by no more than the edge of a fit (see `confidence`).
    """
    shapes, scales = np.meshgrid(LOG_SHAPES, LOG_SCALES, indexing="ij")
    logs = log_likelihoods([lives])[0]
    for values, prior in ((shapes, LOG_SHAPE), (scales, LOG_SCALE)):
        logs = logs - 0.5 * ((values - prior.mean) / prior.stdev) ** 2
    logs = logs - logs.max()
    likely = np.exp(logs) / np.exp(logs).sum()
    spans = [(shape, LOG_SCALES[row]) for shape, row in zip(LOG_SHAPES, logs >= -DEPTH, strict=True) if row.any()]
    around = [(shape, span[0]) for shape, span in spans] + [(shape, span[-1]) for shape, span in reversed(spans)]
    mean = float((likely * shapes).sum()), float((likely * scales).sum())
    model, *edge = (Weibull(math.exp(shape), math.exp(scale), math.nan) for shape, scale in [mean, *around])
    return Fitted(model, tuple(edge))
