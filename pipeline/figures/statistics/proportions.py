"""Shares whose items come in clusters: limits, differences, and how much they vary.

In: counts by cluster (a cluster is what is late or in time together: one call at a vessel). Out: shares 0..1.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

LEAST_CLUSTERS = 3


class ClusteredShare(NamedTuple):
    """x of n, the share, its limits, and the independent items that would tell as much; None where too few clusters.

    equal_clusters: how many clusters of one size weigh as these do, (sum n)^2 / sum n^2; a few large ones beside many small are few.
    """

    done: int
    due: int
    share: float | None
    low: float | None
    high: float | None
    clusters: int
    effective: float | None
    equal_clusters: float = 0.0


class Difference(NamedTuple):
    """First share less second, with limits."""

    difference: float
    low: float
    high: float


def check_counts(done: ArrayLike, due: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
    """As arrays without the empty clusters; ValueError unless 0 <= done <= due throughout."""
    x, n = np.asarray(done, float), np.asarray(due, float)
    if x.shape != n.shape or x.ndim != 1 or (x < 0).any() or (x > n).any():
        raise ValueError("counts must be 0 <= done <= due, cluster by cluster")
    return x[n > 0], n[n > 0]


def count_equal(due: ArrayLike) -> float:
    """How many clusters of one size weigh as these do (m,): (sum n)^2 / sum n^2. Source: Kish L. (1965), Survey Sampling, 11.7; from memory."""
    n = np.asarray(due, float)
    return float(n.sum() ** 2 / (n @ n))


def clopper_pearson(events: float, trials: float, confidence: float = 0.95) -> tuple[float, float]:
    """Exact limits of a share; counts needn't be whole. ValueError unless 0 <= events <= trials and trials > 0.

    Source: Clopper C. J., Pearson E. S. (1934) Biometrika 26:404, by quantiles of the beta.
    """
    if not (trials > 0 and 0 <= events <= trials):
        raise ValueError(f"no share: {events} of {trials}")
    tail = (1 - confidence) / 2
    low = 0.0 if events <= 0 else float(special.betaincinv(events, trials - events + 1, tail))
    return low, 1.0 if events >= trials else float(special.betaincinv(events + 1, trials - events, 1 - tail))


def wilson_limits(events: float, trials: float, confidence: float = 0.95) -> tuple[float, float]:
    """Wilson's score limits for counts that needn't be whole. Source: Wilson E. B. (1927) J. Am. Stat. Assoc. 22:209."""
    if not (trials > 0 and 0 <= events <= trials):
        raise ValueError(f"no share: {events} of {trials}")
    z, p = special.ndtri(0.5 + confidence / 2), events / trials
    middle = (p + z * z / (2 * trials)) / (1 + z * z / trials)
    half = z / (1 + z * z / trials) * np.sqrt(p * (1 - p) / trials + z * z / (4 * trials**2))
    return max(0.0, float(middle - half)), min(1.0, float(middle + half))


def newcombe(
    events: float, trials: float, other_events: float, other_trials: float, confidence: float = 0.95
) -> Difference:  # fmt: skip
    """Difference of two independent shares from their score limits; effective counts needn't be whole.

    Source: Newcombe R. G. (1998) Statistics in Medicine 17:873, method 10.
    """
    p, q = events / trials, other_events / other_trials
    (low, high), (other_low, other_high) = (
        wilson_limits(events, trials, confidence), wilson_limits(other_events, other_trials, confidence),
    )  # fmt: skip
    below = np.hypot(p - low, other_high - q)
    above = np.hypot(high - p, q - other_low)
    return Difference(p - q, float(p - q - below), float(p - q + above))


def measure_variance(done: ArrayLike, due: ArrayLike) -> float | None:
    """Variance of sum(done) / sum(due) between clusters: m / (m - 1) * sum (x - n p)^2 / (sum n)^2; None below 2 clusters.

    Source: Rao J. N. K., Scott A. J. (1992) Biometrics 48:577 (a ratio of cluster totals, linearised).
    """
    x, n = check_counts(done, due)
    m = len(n)
    if m < 2:
        return None
    return float(m / (m - 1) * ((x - n * x.sum() / n.sum()) ** 2).sum() / n.sum() ** 2)


def measure_design_effect(done: ArrayLike, due: ArrayLike) -> float | None:
    """Variance between clusters over that of independent items; None where either can't be had. Source: as measure_variance."""
    x, n = check_counts(done, due)
    variance = measure_variance(x, n)
    p = x.sum() / n.sum() if len(n) else 0.0
    return None if variance is None or not 0 < p < 1 else variance / (p * (1 - p) / n.sum())


def korn_graubard(done: ArrayLike, due: ArrayLike, confidence: float = 0.95) -> ClusteredShare:
    """A share over clusters (m,) with exact limits on the number of independent items that would tell as much.

    n_eff = p (1 - p) / variance * (t(N - 1) / t(m - 1))^2, never above N. With p = 0 or 1, or no variance at all, the clusters are the items.
    Below 3 clusters neither limits nor n_eff. Source: Korn E. L., Graubard B. I. (1998) Survey Methodology 24:193;
    what to do without variance is the project's rule.
    """
    x, n = check_counts(done, due)
    m, total = len(n), n.sum()
    if not m:
        return ClusteredShare(0, 0, None, None, None, 0, None)
    p = float(x.sum() / total)
    counted, equal = (int(x.sum()), int(total), p), count_equal(n)
    if m < LEAST_CLUSTERS:
        return ClusteredShare(*counted, None, None, m, None, equal)
    variance, tail = measure_variance(x, n), 0.5 + confidence / 2
    if not 0 < p < 1 or variance is None or variance <= 1e-15:
        effective = float(m)
    else:
        effective = p * (1 - p) / variance * float(special.stdtrit(total - 1, tail) / special.stdtrit(m - 1, tail)) ** 2
        effective = min(effective, float(total))
    low, high = clopper_pearson(p * effective, effective, confidence)
    return ClusteredShare(*counted, low, high, m, effective, equal)
