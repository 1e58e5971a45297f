"""Estimates of unequal precision drawn together. In: estimates and variances. Out: their mean and the variance between them."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from pipeline.figures.statistics.funnel import solve_tau2


class Pooled(NamedTuple):
    """Variance between, the weighted sum of squares, the mean and its standard error."""

    tau2: float
    q: float
    mean: float
    error: float


def pool(estimates: ArrayLike, variances: ArrayLike) -> Pooled:
    """Random-effects mean of estimates (k,) with their variances (k,). ValueError if none or a variance is not above 0.

    Source: DerSimonian R., Laird N. (1986) Controlled Clinical Trials 7:177.
    """
    y, v = np.asarray(estimates, float), np.asarray(variances, float)
    if not len(y) or not (v > 0).all():
        raise ValueError("needs estimates with variances above 0")
    w = 1 / v
    q = float((w * (y - (w * y).sum() / w.sum()) ** 2).sum())
    tau2 = solve_tau2(q, w)
    w = 1 / (v + tau2)
    return Pooled(tau2, q, float((w * y).sum() / w.sum()), float(w.sum() ** -0.5))
