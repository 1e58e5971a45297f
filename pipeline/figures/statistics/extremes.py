"""The largest of each unit. In: one maximum a unit. Out: a Gumbel fit, whether a generalised one fits better, what one in so many exceeds."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize, stats

LEAST_MAXIMA = 20


class Extremes(NamedTuple):
    """Place, spread and form (0 for Gumbel; above 0: no upper bound, heavy) with standard errors, and the log likelihood."""

    values: tuple[float, ...]
    errors: tuple[float, ...]
    log_likelihood: float


def measure_fit(theta: np.ndarray, maxima: np.ndarray) -> float:
    """Negative log likelihood at (place, log spread[, form]); very large where a maximum lies beyond the form's bound."""
    form, z = theta[2] if len(theta) > 2 else 0.0, (maxima - theta[0]) / np.exp(theta[1])
    if abs(form) < 1e-9:
        log_t = -z
    elif (1 + form * z).min() <= 0:
        return 1e10
    else:
        log_t = -np.log1p(form * z) / form
    return float((theta[1] - (1 + form) * log_t + np.exp(np.minimum(log_t, 600))).sum())


def fit_maxima(maxima: ArrayLike, with_form: bool = False) -> Extremes:
    """Likeliest Gumbel, or generalised extreme value distribution, of maxima (n,). ValueError below 3 different values.

    Source: Coles S. (2001) An Introduction to Statistical Modeling of Extreme Values, chapter 3.
    """
    x = np.asarray(maxima, float)
    if len(np.unique(x)) < 3:
        raise ValueError("needs three different maxima")
    # the moments of a Gumbel are the start
    spread = x.std(ddof=1) * np.sqrt(6) / np.pi
    begin = [x.mean() - np.euler_gamma * spread, np.log(spread)] + ([-0.05] if with_form else [])
    theta = np.array(begin)
    for _ in range(3):
        theta = optimize.minimize(
            measure_fit, theta, (x,), method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-11, "maxiter": 4000}
        ).x
    size = len(theta)
    steps = np.diag([1e-4 * np.exp(theta[1]), 1e-4, 1e-4][:size])
    curved = np.zeros((size, size))
    for i in range(size):
        for j in range(size):
            signs = ((1, 1, 1), (1, -1, -1), (-1, 1, -1), (-1, -1, 1))
            parts = [s * measure_fit(theta + a * steps[i] + b * steps[j], x) for a, b, s in signs]
            curved[i, j] = sum(parts) / (4 * steps[i, i] * steps[j, j])
    if not np.isfinite(curved).all() or np.linalg.eigvalsh(curved).min() <= 0:
        raise ValueError("the maxima don't settle the fit")
    errors = np.sqrt(np.diag(np.linalg.inv(curved)))
    values = (float(theta[0]), float(np.exp(theta[1])), *(float(t) for t in theta[2:]))
    # that of log spread times the spread
    return Extremes(
        values, (float(errors[0]), float(errors[1]) * values[1], *(float(e) for e in errors[2:])), -measure_fit(theta, x)
    )


def check_form(plain: Extremes, general: Extremes) -> float:
    """p of the likelihood ratio: does the generalised distribution fit better than a Gumbel by more than chance?"""
    return float(stats.chi2.sf(max(0.0, 2 * (general.log_likelihood - plain.log_likelihood)), 1))


def find_level(fit: Extremes, one_in: float) -> float:
    """What the maximum of one unit in so many exceeds, by the fit. ValueError unless one_in > 1. Source: Coles (2001) eq. 3.10."""
    if not one_in > 1:
        raise ValueError(f"one in {one_in} is no share")
    y = -np.log1p(-1 / one_in)
    form = fit.values[2] if len(fit.values) > 2 else 0.0
    lift = -np.log(y) if abs(form) < 1e-9 else (y**-form - 1) / form
    return float(fit.values[0] + fit.values[1] * lift)
