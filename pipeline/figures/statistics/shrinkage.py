"""Rates of few events drawn towards what the fleet has in common.

In: counts (n,) and exposures (n,). Out: the gamma from which the rates may come, and each rate with its limits. Rates are events
per unit of exposure, everywhere.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize, special, stats

SPREAD_PRIOR = 0.6  # sd of the half-normal on the coefficient of variation between vessels: a judgement, see make_grid
CLEAR = 1e-8  # on the log scale
LEAST_WEIGHT = 1e-7  # a cell of the grid below this share of the heaviest changes no digit that is shown


class GammaFit(NamedTuple):
    """Shape alpha, rate beta and the log likelihood; alpha and beta are None where the counts vary no more than chance allows."""

    alpha: float | None
    beta: float | None
    log_likelihood: float
    rates: np.ndarray


class Shrunk(NamedTuple):
    """Of each rate (n,): posterior mean, limits, and the chance that it exceeds `factor` times the fleet's mean."""

    mean: np.ndarray
    low: np.ndarray
    high: np.ndarray
    chance_above: np.ndarray


def weigh(counts: np.ndarray, exposures: np.ndarray, alpha: np.ndarray, beta: np.ndarray) -> np.ndarray:
    """Log likelihood (k,) of counts under gamma-Poisson with shape alpha (k,) and rate beta (k,): negative binomial."""
    x, t, a, b = counts, exposures, alpha[:, None], beta[:, None]
    # a grid has few shapes and vessels few different counts: their gamma functions once each
    (shapes, shape), (events, event) = (np.unique(values, return_inverse=True) for values in (alpha, counts))
    each = special.gammaln(shapes[:, None] + events) - special.gammaln(shapes)[:, None] - special.gammaln(events + 1)
    terms = each[shape[:, None], event]
    return (terms - a * np.log1p(t / b) + special.xlogy(x, t / (b + t))).sum(axis=1)


def fit_gamma(counts: ArrayLike, exposures: ArrayLike) -> GammaFit:
    """Maximum likelihood of the gamma and the plug-in means (alpha + x) / (beta + t). ValueError unless all exposures > 0.

    Kept for comparison: its plug-in limits are far too narrow in small fleets (tests/statistics), see `shrink`.
    Source: Gaver D. P., O'Muircheartaigh I. G. (1987) Technometrics 29:1; Hilbe J. M. (2011) Negative Binomial Regression.
    """
    x, t = check_counts(counts, exposures)
    pooled = x.sum() / t.sum()
    flat = float(stats.poisson.logpmf(x, pooled * t).sum())

    def lose(logs: np.ndarray) -> float:
        alpha, mean = np.exp(np.minimum(logs, 14))  # flat beyond: there the search ends
        return -float(weigh(x, t, np.array([alpha]), np.array([alpha / mean]))[0])

    if not x.sum():
        return GammaFit(None, None, flat, np.zeros(len(x)))
    starts = [np.array([np.log(alpha), np.log(pooled)]) for alpha in (1.0, 10.0)]
    tries = [optimize.minimize(lose, s, method="Nelder-Mead", options={"xatol": 1e-8, "fatol": 1e-10, "maxiter": 1000})
             for s in starts]  # fmt: skip
    best = min(tries, key=lambda found: found.fun)
    alpha, mean = (float(v) for v in np.exp(best.x))
    if -best.fun <= flat + 1e-6 or alpha > 1e5:
        return GammaFit(None, None, flat, np.full(len(x), pooled))
    beta = alpha / mean
    return GammaFit(alpha, beta, -float(best.fun), (alpha + x) / (beta + t))


def make_grid(counts: np.ndarray, exposures: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Alpha (k,), beta (k,) and log prior (k,): the coefficient of variation 1 / sqrt(alpha) is half-normal(.6), the mean rate
    has Jeffreys' prior of a Poisson rate. Cells lie where the likelihood can have weight, so few are enough."""
    spread = 0.05 * (np.arange(44) + 0.5)[:, None]  # midpoints: the density at 0 is not small
    rates = (counts + 0.5 / len(counts)) / exposures
    middle = np.full((len(spread), 1), rates @ exposures / exposures.sum())
    for _ in range(10):  # weights for a spread given: much exposure counts less than in proportion where vessels differ
        known = exposures / (1 + exposures * middle * spread**2)
        middle = (known @ rates)[:, None] / known.sum(axis=1, keepdims=True)
    width = 1 / np.sqrt(middle * (exposures / (1 + exposures * middle * spread**2)).sum(axis=1, keepdims=True))
    mean = middle * np.exp(width * np.linspace(-6, 6, 37))
    alpha = np.broadcast_to(1 / spread**2, mean.shape)
    # on the log scale of the mean, the density mean^(-1/2) becomes mean^(1/2); cells are `width` wide
    prior = -0.5 * (spread / SPREAD_PRIOR) ** 2 + np.log(width) + 0.5 * np.log(mean)
    return alpha.ravel(), (alpha / mean).ravel(), prior.ravel()


def average(
    counts: ArrayLike, exposures: ArrayLike, alpha: np.ndarray, beta: np.ndarray, log_prior: np.ndarray,
    factor: float = 1.5, confidence: float = 0.95,
) -> tuple[Shrunk, np.ndarray]:  # fmt: skip
    """The rates averaged over cells of hyper-parameters (k,), and the cells' posterior weights (k,), which sum to 1.

    In a cell the rate is Gamma(alpha + x, beta + t); over the cells it is a mixture, whose quantiles are found by bisection.
    Source: Gelman A. and others (2013) Bayesian Data Analysis, 3rd ed., section 5.3 (from memory).
    """
    x, t = check_counts(counts, exposures)
    log_weight = weigh(x, t, alpha, beta) + log_prior
    weights = np.exp(log_weight - log_weight.max())
    weights /= weights.sum()
    heavy = weights > LEAST_WEIGHT * weights.max()
    shape, rate, w = alpha[heavy, None] + x, beta[heavy, None] + t, weights[heavy] / weights[heavy].sum()
    mean = w @ (shape / rate)
    tail = (1 - confidence) / 2
    # the fleet's mean differs from cell to cell with beta: the chance takes that uncertainty in
    above = w @ special.gammaincc(shape, rate * factor * (alpha[heavy] / beta[heavy])[:, None])
    low, high = (find_quantile(tail, shape, rate, w), find_quantile(1 - tail, shape, rate, w))
    return Shrunk(mean, low, high, above), weights


def find_quantile(chance: float, shape: np.ndarray, rate: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """Where the mixture of gammas (k, n) with weights (k,) reaches `chance`, for each column: by bisection on the log scale.

    Halves that lie clear of where Newton's steps end are told without the mixture, which takes nearly all the time.
    """
    high = np.log((shape + 12 * np.sqrt(shape) + 60) / rate).max(axis=0)  # far above any gamma's limits
    low, near = high - 40, approach_quantile(chance, shape, rate, weights)
    for _ in range(40):
        middle = (low + high) / 2
        is_below, is_close = middle < near, ~(np.abs(middle - near) > CLEAR)
        if is_close.any():
            ask = slice(None) if is_close.all() else is_close
            is_below[ask] = weights @ special.gammainc(shape[:, ask], rate[:, ask] * np.exp(middle[ask])) < chance
        low, high = np.where(is_below, middle, low), np.where(is_below, high, middle)
    return np.exp((low + high) / 2)


def approach_quantile(chance: float, shape: np.ndarray, rate: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """The log of that place (n,) by Newton's steps on the log odds, good to much less than CLEAR; NaN where they have not come to rest."""
    at, log_rate, log_gamma = np.log(weights @ (shape / rate)), np.log(rate), special.gammaln(shape)
    moved = np.full(len(at), np.inf)
    with np.errstate(all="ignore"):
        for _ in range(12):
            log_y = log_rate + at
            y = np.exp(log_y)
            below = weights @ special.gammainc(shape, y)
            slope = weights @ np.exp(shape * log_y - y - log_gamma)
            moved = (special.logit(chance) - special.logit(below)) * below * (1 - below) / slope
            at = at + moved
            if (np.abs(moved) < CLEAR / 100).all():
                break
    return np.where(np.abs(moved) < CLEAR / 100, at, np.nan)


def shrink(counts: ArrayLike, exposures: ArrayLike, factor: float = 1.5, confidence: float = 0.95) -> Shrunk:
    """Each rate with the hyper-parameters integrated over a grid. ValueError unless all exposures > 0 and counts >= 0."""
    x, t = check_counts(counts, exposures)
    return average(x, t, *make_grid(x, t), factor, confidence)[0]


def check_counts(counts: ArrayLike, exposures: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
    """As arrays of doubles; ValueError where they can't be counts over exposures."""
    x, t = np.asarray(counts, float), np.asarray(exposures, float)
    if x.shape != t.shape or x.ndim != 1 or not len(x) or (x < 0).any() or not (t > 0).all():
        raise ValueError("counts must be 0 or more, over exposures above 0, at least one")
    return x, t
