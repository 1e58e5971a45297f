"""Does a series go one way? In: values in order of time. Out: a test that asks for no shape, and the middle slope."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats


class Trend(NamedTuple):
    """Mann-Kendall's S, its variance with ties, z with continuity correction, two-sided p, and Sen's slope a step (None below 2)."""

    s: int
    variance: float
    z: float
    p: float
    slope: float | None


def find_trend(values: ArrayLike) -> Trend:
    """Values (n,) at equal steps; NaN is a step left out of the test, and the others keep their place for the slope.

    Source: Mann H. B. (1945) Econometrica 13:245; Kendall M. G. (1975) Rank Correlation Methods; Sen P. K. (1968) J. Am. Stat. Assoc. 63:1379.
    """
    v = np.asarray(values, float)
    place = np.flatnonzero(~np.isnan(v))
    v = v[place]
    n = len(v)
    i, j = np.triu_indices(n, 1)
    steps = v[j] - v[i]
    s = int(np.sign(steps).sum())
    ties = np.unique(v, return_counts=True)[1].astype(float)
    variance = float((n * (n - 1) * (2 * n + 5) - (ties * (ties - 1) * (2 * ties + 5)).sum()) / 18)
    z = float((s - np.sign(s)) / np.sqrt(variance)) if variance > 0 else 0.0
    slope = float(np.median(steps / (place[j] - place[i]))) if n > 1 else None
    return Trend(s, variance, z, float(2 * stats.norm.sf(abs(z))), slope)
