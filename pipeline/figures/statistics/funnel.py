"""Groups of unequal size against what they have in common, as a funnel: limits by size instead of a league table.

In: the common share or ratio, sizes, counts. Out: limits, and how much more groups vary than chance.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy import special, stats

TRIM = 0.1
LEAST_GROUPS = 10


class Spread(NamedTuple):
    """phi = mean z^2 (z winsorised), and the variance between groups on the transformed scale, 0 where chance is enough."""

    phi: float
    tau2: float


def limit_binomial(common: float, size: ArrayLike, chance: float) -> np.ndarray:
    """The exact limit of a share at whole sizes (k,), interpolated between counts; it may lie below 0 or above 1: cut for display.

    r = smallest count with F(r) >= chance; limit = (r - (F(r) - chance) / f(r)) / n. ValueError unless 0 < common < 1, size >= 1.
    Source: Spiegelhalter D. J. (2005) Statistics in Medicine 24:1185, appendix.
    """
    n = np.asarray(size, float)
    if not 0 < common < 1 or (n < 1).any() or (n != np.floor(n)).any():
        raise ValueError("needs a common share between 0 and 1, and whole sizes")
    r = stats.binom.ppf(chance, n, common)
    return (r - (stats.binom.cdf(r, n, common) - chance) / stats.binom.pmf(r, n, common)) / n


def limit_normal(common: float, size: ArrayLike, confidence: float) -> tuple[np.ndarray, np.ndarray]:
    """Both limits of shares at sizes (k,) by the normal approximation; a group lies outside just where its own Wilson interval
    lacks the common share.

    Source: Spiegelhalter D. J. (2005) Statistics in Medicine 24:1185, section 2; Wilson E. B. (1927) for the identity.
    """
    n, z = np.asarray(size, float), stats.norm.ppf(0.5 + confidence / 2)
    half = z * np.sqrt(common * (1 - common) / n)
    return common - half, common + half


def find_tails(done: ArrayLike, size: ArrayLike, common: float) -> tuple[np.ndarray, np.ndarray]:
    """Chance of as few and of as many as seen (k,) were the common share true, for counts that needn't be whole.

    This is the test to signal by. A drawn limit_binomial lies between two counts, and to call every count beyond it outside is wrong
    more often than its chance says. Source: Clopper C. J., Pearson E. S. (1934) Biometrika 26:404 (their limits, inverted).
    """
    x, n = np.asarray(done, float), np.asarray(size, float)
    few = np.where(x >= n, 1.0, special.betainc(np.maximum(n - x, 1e-300), x + 1, 1 - common))
    many = np.where(x <= 0, 1.0, special.betainc(np.maximum(x, 1e-300), n - x + 1, common))
    return few, many


def winsorise(z: np.ndarray, trim: float = TRIM) -> np.ndarray:
    """Values beyond the trim and 1 - trim quantiles are drawn to them. Source: as measure_spread."""
    return np.clip(z, *np.quantile(z, (trim, 1 - trim)))


def measure_spread(y: ArrayLike, common: float, error: ArrayLike, trim: float = TRIM) -> Spread:
    """Overdispersion of groups: values (k,), what they have in common, and each one's standard error, on one scale.

    tau2 = (k phi - (k - 1)) / (sum w - sum w^2 / sum w), w = 1 / s^2, 0 where k phi <= k - 1. ValueError below 2 groups.
    Source: Spiegelhalter D. J. (2005) Quality and Safety in Health Care 14:347, with the moments of DerSimonian and Laird.
    """
    y, s = np.asarray(y, float), np.asarray(error, float)
    if len(y) < 2:
        raise ValueError("one group has nothing to vary from")
    phi = float((winsorise((y - common) / s, trim) ** 2).mean())
    return Spread(phi, solve_tau2(len(y) * phi, 1 / s**2))


def solve_tau2(q: float, weights: np.ndarray) -> float:
    """Variance between groups from the weighted sum of squares q; never below 0."""
    room = weights.sum() - (weights**2).sum() / weights.sum()
    return max(0.0, float((q - (len(weights) - 1)) / room)) if room > 0 else 0.0


def measure_root_spread(shares: ArrayLike, common: float, size: ArrayLike) -> Spread:
    """Overdispersion of shares (k,) of sizes (k,), on the scale asin(sqrt(share)), where s = 1 / (2 sqrt(n)). Source: as above."""
    y, n = np.arcsin(np.sqrt(np.asarray(shares, float))), np.asarray(size, float)
    return measure_spread(y, float(np.arcsin(np.sqrt(common))), 1 / (2 * np.sqrt(n)))


def limit_spread(common: float, size: ArrayLike, tau2: float, confidence: float) -> tuple[np.ndarray, np.ndarray]:
    """Both limits of shares where groups differ by tau2 beyond chance, on the scale asin(sqrt(share)). Source: as above."""
    n, z = np.asarray(size, float), stats.norm.ppf(0.5 + confidence / 2)
    middle, half = np.arcsin(np.sqrt(common)), z * np.sqrt(1 / (4 * n) + tau2)
    return np.sin(np.maximum(middle - half, 0)) ** 2, np.sin(np.minimum(middle + half, np.pi / 2)) ** 2


def find_least_ratio(
    base: float, size: int, power: float = 0.8, confidence: float = 0.998, leasts: ArrayLike | None = None
) -> float | None:  # fmt: skip
    """The smallest multiple of a share `base` that is signalled with this chance at this size; None if none is.

    Signalled from one of `leasts` (k,) on, counts that are equally likely to be the first; without them by find_tails, as if `base`
    were known from elsewhere. Source: the binomial tail, searched by bisection.
    """
    if size < 1 or not 0 < base < 1:
        return None
    firsts = np.atleast_1d(stats.binom.ppf(0.5 + confidence / 2, size, base) + 1 if leasts is None else leasts).astype(float)
    low, high = 1.0, 1 / base
    if (firsts <= size).mean() < power:
        return None
    for _ in range(40):
        middle = (low + high) / 2
        is_enough = special.bdtrc(np.minimum(firsts - 1, size), size, min(base * middle, 1.0)).mean() >= power
        low, high = (low, middle) if is_enough else (middle, high)
    return float(high)
