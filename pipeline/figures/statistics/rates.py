"""Rates compared: two with each other, many with what they have in common. In: counts and exposures. Out: ratios, tests, limits."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from pipeline.figures.statistics.intervals import garwood


class RateRatio(NamedTuple):
    """First rate / second, with limits; `high` is None where the second count is 0: then nothing bounds the ratio above."""

    ratio: float | None
    low: float
    high: float | None
    p: float


class Dispersion(NamedTuple):
    """Pearson's X2 of counts against one common rate; `phi` = X2 / df, None for a single count."""

    x2: float
    df: int
    p: float | None
    phi: float | None


def compare_rates(count: int, exposure: float, other_count: int, other_exposure: float, confidence: float = 0.95) -> RateRatio:
    """Exact conditional comparison of two Poisson rates: count | sum of both is binomial. Exposures in one unit, above 0.

    ValueError for a negative count or an exposure that is not above 0.
    Source: Przyborowski J., Wilenski H. (1940) Biometrika 31:313, with the limits of Clopper C. J., Pearson E. S. (1934)
    Biometrika 26:404 turned into a ratio; p sums the outcomes no likelier than the one seen.
    """
    if min(count, other_count) < 0 or not min(exposure, other_exposure) > 0:
        raise ValueError("a count can't be negative, an exposure must be above 0")
    count, both = int(count), int(count + other_count)
    if both == 0:
        return RateRatio(None, 0.0, None, 1.0)
    scale = other_exposure / exposure
    test = stats.binomtest(count, both, exposure / (exposure + other_exposure))
    limits = test.proportion_ci(confidence, method="exact")
    low = float(limits.low / (1 - limits.low) * scale)
    if other_count == 0:
        return RateRatio(None, low, None, float(test.pvalue))
    high = float(limits.high / (1 - limits.high) * scale)
    return RateRatio(float(count / other_count * scale), low, high, float(test.pvalue))


def measure_dispersion(counts: ArrayLike, exposures: ArrayLike) -> Dispersion:
    """Do counts (n,) over exposures (n,) vary more than one common rate and chance allow? Sum (x - m e)^2 / (m e) on n - 1.

    Counts without exposure say nothing and are left out. Nothing counted at all: X2 0, p 1.
    Source: Fisher R. A. (1950) Biometrics 6:17 (index of dispersion, here with unequal exposures); phi as in McCullagh P.,
    Nelder J. A. (1989) Generalized Linear Models, section 6.2.3. Both from memory.
    """
    x, t = np.asarray(counts, float), np.asarray(exposures, float)
    x, t = x[t > 0], t[t > 0]
    if len(x) < 2:
        return Dispersion(0.0, 0, None, None)
    if not x.sum():
        return Dispersion(0.0, len(x) - 1, 1.0, 0.0)
    expected = x.sum() / t.sum() * t
    x2, df = float(((x - expected) ** 2 / expected).sum()), len(x) - 1
    return Dispersion(x2, df, float(stats.chi2.sf(x2, df)), x2 / df)


def limit_common_rate(counts: ArrayLike, exposures: ArrayLike, confidence: float = 0.95) -> tuple[float, float] | None:
    """Limits of the rate that groups have in common, wide enough for groups that differ; None without exposure.

    Garwood's where the groups vary no more than chance (phi <= 1) or there is one group; else quasi-Poisson on the log scale:
    rate x exp(+-t sqrt(phi / events)), t with n - 1 degrees of freedom, and never narrower than Garwood's.
    Source: McCullagh P., Nelder J. A. (1989) Generalized Linear Models, section 6.2 (from memory).
    """
    x, t = np.asarray(counts, float), np.asarray(exposures, float)
    events, exposure = x[t > 0].sum(), t.sum()
    if not exposure > 0:
        return None
    low, high = (limit / exposure for limit in garwood(int(events), confidence))
    spread = measure_dispersion(x, t)
    if not events or spread.phi is None or spread.phi <= 1:
        return float(low), float(high)
    wide = stats.t.ppf(0.5 + confidence / 2, spread.df) * np.sqrt(spread.phi / events)
    rate = events / exposure
    return float(min(low, rate * np.exp(-wide))), float(max(high, rate * np.exp(wide)))


def compare_years(
    now: ArrayLike, now_exposure: ArrayLike, before: ArrayLike, before_exposure: ArrayLike, phi: float = 1.0, df: int = 0
) -> RateRatio | None:
    """Two periods of the same groups (n,), where a group's count moves `phi` (1 or more, known on `df`) times as much as chance.

    The common ratio with limits exp(log ratio +- q sqrt(phi / information)), q of t on `df`, of the normal where phi is 1. None without
    events in both periods of a group watched in both.
    Source: quasi-likelihood as in limit_common_rate, for a log-linear model of group and period.
    """
    a, s, b, t = (np.asarray(values, float) for values in (now, now_exposure, before, before_exposure))
    use = (s > 0) & (t > 0) & (a + b > 0)
    a, s, b, t = a[use], s[use], b[use], t[use]
    if not len(a) or not a.sum() or not b.sum():
        return None
    ratio = find_common_ratio(a, s, b, t)
    share = ratio * s / (ratio * s + t)
    error = np.sqrt(phi / ((a + b) * share * (1 - share)).sum())
    law = stats.t(df) if phi > 1 else stats.norm()
    factor = np.exp(law.ppf(0.975) * error)
    return RateRatio(float(ratio), float(ratio / factor), float(ratio * factor), float(2 * law.sf(abs(np.log(ratio)) / error)))


def find_common_ratio(a: np.ndarray, s: np.ndarray, b: np.ndarray, t: np.ndarray) -> float:
    """The ratio of maximum likelihood given each group's total: sum a = sum (a + b) r s / (r s + t), by Newton on log r."""
    log_ratio = np.log(a.sum() / s.sum() * t.sum() / b.sum())
    for _ in range(50):
        share = np.exp(log_ratio) * s / (np.exp(log_ratio) * s + t)
        step = (a.sum() - ((a + b) * share).sum()) / ((a + b) * share * (1 - share)).sum()
        log_ratio += np.clip(step, -1, 1)
        if abs(step) < 1e-12:
            break
    return float(np.exp(log_ratio))


def measure_interaction(counts: np.ndarray, exposures: np.ndarray) -> tuple[float, int]:
    """Counts (groups, periods): phi of what is left beside each group's rate and each period's common rise or fall, and df.

    Expected counts are r_g c_p exposure, fitted by proportional scaling; phi = Pearson X2 / df, never below 1; (1, 0) without df.
    Cells without exposure are no cells. Source: Deming W. E., Stephan F. F. (1940) Ann. Math. Stat. 11:427 for the scaling.
    """
    cells = exposures > 0
    counts = np.where(cells, counts, 0)
    fitted = np.where(cells, exposures, 0.0)
    for _ in range(200):
        for axis in (1, 0):
            sums = fitted.sum(axis=axis, keepdims=True)
            fitted = fitted * np.divide(counts.sum(axis=axis, keepdims=True), sums, out=np.zeros_like(sums), where=sums > 0)
    used = fitted > 0
    df = int(used.sum() - used.any(axis=1).sum() - used.any(axis=0).sum() + 1) if used.any() else 0
    if df < 1:
        return 1.0, 0
    x2 = ((counts[used] - fitted[used]) ** 2 / fitted[used]).sum()
    return max(1.0, float(x2 / df)), df
