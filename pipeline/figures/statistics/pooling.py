"""Estimates of unequal precision drawn together. In: estimates and variances. Out: their mean, the variance between them, what is left of each."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from pipeline.figures.statistics.funnel import solve_tau2

GRID = 80  # steps


class Pooled(NamedTuple):
    """Variance between, the weighted sum of squares, the mean and its standard error."""

    tau2: float
    q: float
    mean: float
    error: float


class Drawn(NamedTuple):
    """Each estimate (k,) drawn to what all have in common, its standard error, and the mean variance between them."""

    mean: np.ndarray
    error: np.ndarray
    tau2: float


def draw_normals(estimates: ArrayLike, variances: ArrayLike) -> Drawn:
    """Normal estimates (k,) with known variances about a normal mean, averaged over how much they may truly differ.

    The standard deviation between them has a flat prior on a grid from 0 to three times the larger of what the estimates and the
    largest error show. With one best value put in instead, 95 % limits held 81 to 95 % (tests/statistics).
    ValueError below 2 estimates or unless all variances are above 0.
    Source: Gelman A. et al. (1995) Bayesian Data Analysis, section 5.4 (from memory).
    """
    y, v = np.asarray(estimates, float), np.asarray(variances, float)
    if len(y) < 2 or not (v > 0).all():
        raise ValueError("needs two estimates with variances above 0")
    tau = np.linspace(0, 3 * max(y.std(), np.sqrt(v.max())), GRID + 1)[:, None]
    weight = 1 / (v + tau**2)
    total = weight.sum(axis=1, keepdims=True)
    middle = (weight * y).sum(axis=1, keepdims=True) / total
    logs = 0.5 * (np.log(weight).sum(axis=1) - np.log(total[:, 0]) - (weight * (y - middle) ** 2).sum(axis=1))
    chance = np.exp(logs - logs.max())
    chance /= chance.sum()
    own = tau**2 * weight
    means, spreads = own * y + (1 - own) * middle, own * v + (1 - own) ** 2 / total
    mean = chance @ means
    return Drawn(mean, np.sqrt(chance @ (spreads + (means - mean) ** 2)), float(chance @ tau[:, 0] ** 2))


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
