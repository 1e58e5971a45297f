"""Is a course over time more than chance? Charts with limits, rules for runs, and a smoothed chart for slow drift.

In: counts and sizes in order of time. Out: centre, limits, what lies outside. Outside is strictly outside.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

SIGMAS, RANGE_TO_SD = 3.0, 1.128  # mean distance of two neighbours of a normal series, in standard deviations
WEIGHT, EWMA_SIGMAS = 0.2, 2.962  # of an EWMA that is wrong once in 500 points, see find_run_length


class Limits(NamedTuple):
    """Centre, limits (n,) and what lies outside them (n,)."""

    centre: float
    low: np.ndarray
    high: np.ndarray
    is_outside: np.ndarray


class Laney(NamedTuple):
    """A p'-chart: as Limits, with each share's distance z in its own binomial sd, and sigma_z, the spread of those."""

    centre: float
    low: np.ndarray
    high: np.ndarray
    is_outside: np.ndarray
    z: np.ndarray
    sigma_z: float


class Runs(NamedTuple):
    """Points off the median, the longest run on one side and the longest allowed, crossings and the fewest allowed."""

    points: int
    longest: int
    allowed: int
    crossings: int
    least: int

    @property
    def is_signal(self) -> bool:
        """True where a run is too long or crossings are too few for chance."""
        return self.longest > self.allowed or self.crossings < self.least


def mark(values: np.ndarray, centre: float, low: np.ndarray, high: np.ndarray) -> Limits:
    """Limits with what lies beyond them, a millionth of a millionth allowed for rounding."""
    slack = 1e-12 * (1 + np.abs(values))
    return Limits(centre, low, high, (values < low - slack) | (values > high + slack))


def chart_p(done: ArrayLike, due: ArrayLike) -> Limits:
    """Shares (n,) of sizes above 0. Source: Shewhart W. A. (1931); NIST/SEMATECH e-Handbook 6.3.3.2."""
    x, n = np.asarray(done, float), np.asarray(due, float)
    centre = float(x.sum() / n.sum())
    half = SIGMAS * np.sqrt(centre * (1 - centre) / n)
    return mark(x / n, centre, np.maximum(centre - half, 0), np.minimum(centre + half, 1))


def chart_laney(done: ArrayLike, due: ArrayLike, baseline: int | None = None) -> Laney | None:
    """Shares whose limits allow for months that differ beyond chance; centre and sigma_z from the first `baseline` points alone.

    z = (p - centre) / s; sigma_z = mean |z - z before| / 1.128, never below 1 in the limits centre +- 3 s max(1, sigma_z), cut
    at 0 and 1. None where the baseline has fewer than 2 points or one outcome only. Source: Laney D. B. (2002) Quality
    Engineering 14:531; that spread never narrows the limits is the project's rule.
    """
    x, n = np.asarray(done, float), np.asarray(due, float)
    first = slice(None, baseline)
    if len(x[first]) < 2 or not 0 < x[first].sum() < n[first].sum():
        return None
    centre = float(x[first].sum() / n[first].sum())
    s = np.sqrt(centre * (1 - centre) / n)
    z = (x / n - centre) / s
    sigma_z = float(np.abs(np.diff(z[first])).mean() / RANGE_TO_SD)
    half = SIGMAS * s * max(1.0, sigma_z)
    limits = mark(x / n, centre, np.maximum(centre - half, 0), np.minimum(centre + half, 1))
    return Laney(*limits, z, sigma_z)


def judge_runs(values: ArrayLike, median: float | None = None) -> Runs:
    """Values (n,) in order about their own or a given median; values on it say nothing and are dropped.

    Source: Anhoej J., Olesen A. V. (2014) PLoS ONE 9:e113825: run > round(log2 n + 3), crossings < 5 % point of binomial(n - 1, 1/2).
    """
    v = np.asarray(values, float)
    middle = float(np.median(v)) if median is None and len(v) else median
    side = np.sign(v - middle)[v != middle] if len(v) else v
    n = len(side)
    if not n:
        return Runs(0, 0, 0, 0, 0)
    breaks = np.flatnonzero(np.diff(side)) + 1
    longest = int(np.diff(np.concatenate([[0], breaks, [n]])).max())
    return Runs(n, longest, round(np.log2(n) + 3), len(breaks), int(stats.binom.ppf(0.05, n - 1, 0.5)) if n > 1 else 0)


def smooth(values: ArrayLike, start: float, weight: float = WEIGHT) -> np.ndarray:
    """The exponentially weighted mean after each value (n,). Source: Roberts S. W. (1959) Technometrics 1:239."""
    level, levels = start, []
    for value in np.asarray(values, float):
        level = weight * value + (1 - weight) * level
        levels.append(level)
    return np.array(levels)


def spread_smoothed(points: int, weight: float = WEIGHT) -> np.ndarray:
    """Standard deviation of the smoothed value after 1..n points, in those of one point. Source: NIST/SEMATECH e-Handbook 6.3.2.4."""
    ages = np.arange(1, points + 1)
    return np.sqrt(weight / (2 - weight) * (1 - (1 - weight) ** (2 * ages)))


def find_run_length(weight: float, sigmas: float, shift: float = 0.0, nodes: int = 101) -> float:
    """Mean number of points until an EWMA leaves +- sigmas (of its final sd), where the mean lies `shift` sd of one point off.

    Source: Crowder S. V. (1987) Technometrics 29:401, the integral equation, solved at Gauss-Legendre nodes.
    """
    edge = sigmas * np.sqrt(weight / (2 - weight))
    node, share = np.polynomial.legendre.leggauss(nodes)
    at, share = edge * node, edge * share
    density = stats.norm.pdf((at[None, :] - (1 - weight) * at[:, None]) / weight - shift) / weight
    length = np.linalg.solve(np.eye(nodes) - density * share[None, :], np.ones(nodes))
    return float(1 + (share * stats.norm.pdf(at / weight - shift) / weight * length).sum())
