"""Onset between two looks as a Weibull curve.

In: what onset.py takes, with covariates and clusters. Out: shape, scale and what each covariate does to it.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize

from pipeline.figures.statistics.onset import check_intervals


class Weibull(NamedTuple):
    """log scale = beta[0] + covariates . beta[1:]; S(t) = exp(-(t / scale)^shape). `covariance` is that of (beta, log shape)."""

    beta: np.ndarray
    shape: float
    covariance: np.ndarray
    log_likelihood: float

    @property
    def scale(self) -> float:
        """Age by which 63 % have begun, where all covariates are 0."""
        with np.errstate(over="ignore"):  # an onset that the records put at no age: infinite, and shown as not to be told
            return float(np.exp(self.beta[0]))


def fit_weibull(
    left: ArrayLike, right: ArrayLike, entry: ArrayLike | None = None, covariates: ArrayLike | None = None,
    cluster: ArrayLike | None = None,
) -> Weibull:  # fmt: skip
    """Likeliest Weibull curve of onsets in (left, right] of units watched from `entry` on; covariates (n, p) act on log scale.

    With `cluster` (n,) each variance is the larger of the model's and the one that lets the clusters' scores vary freely.
    ValueError as in check_intervals, where no onset was seen, or the search doesn't end. Source: Kalbfleisch J. D., Prentice R. L. (2002)
    The Statistical Analysis of Failure Time Data, chapter 3 (accelerated life, interval data, late entry).
    """
    low, high, come = check_intervals(left, right, entry)
    seen = np.isfinite(high)
    if not seen.any():
        raise ValueError("no onset was seen")
    x = np.ones((len(low), 1)) if covariates is None else np.column_stack([np.ones(len(low)), covariates])
    with np.errstate(divide="ignore"):
        log_low, log_high, log_come = np.log(low), np.log(high[seen]), np.log(come)
    found_at = np.flatnonzero(seen)  # places are taken much faster than a mask

    def rise(log_age: np.ndarray, middle: np.ndarray | float, k: float) -> tuple[np.ndarray, np.ndarray]:
        """The summed risk (m,) at these ages, and its slope by log shape."""
        z = k * (log_age - middle)
        risk = np.exp(np.minimum(z, 50))
        return risk, risk * np.where(np.isfinite(z), z, 0)

    def score(theta: np.ndarray) -> tuple[float, np.ndarray]:
        """Log likelihood and its slopes by row (n, p + 2)."""
        middle, k = theta[0] if covariates is None else x @ theta[:-1], np.exp(theta[-1])
        h_low, t_low = rise(log_low, middle, k)
        h_come, t_come = rise(log_come, middle, k) if come.any() else (0.0, 0.0)
        h_high, t_high = rise(log_high, middle if covariates is None else middle[found_at], k)
        between = h_high - h_low[found_at]
        gap = np.maximum(between, 1e-300)
        steep = 1 / np.expm1(np.clip(gap, 1e-12, 200))
        value, by_shape, by_middle = h_come - h_low, t_come - t_low, h_come - h_low
        value[found_at] += np.log(-np.expm1(-gap))
        by_shape[found_at] += steep * (t_high - t_low[found_at])
        by_middle[found_at] += steep * between
        return float(value.sum()), np.column_stack([x * (-k * by_middle)[:, None], by_shape])

    def climb(theta: np.ndarray) -> np.ndarray:
        """Slopes (p + 2,) of the log likelihood."""
        return add_up(score(theta)[1])

    typical = np.median(np.where(seen, high, np.maximum(low, high[seen].min())))
    begin = np.zeros(x.shape[1] + 1)
    begin[0], begin[-1] = np.log(typical), np.log(1.5)
    found = optimize.minimize(
        lambda theta: (-(pair := score(theta))[0], -add_up(pair[1])), begin, jac=True, method="BFGS", options={"gtol": 1e-6}
    )
    if np.abs(found.jac).max() > 1e-3 * max(1.0, abs(found.fun)):
        raise ValueError("the curve could not be fitted")
    theta, step = found.x, 1e-5
    slopes = [(climb(theta + step * e) - climb(theta - step * e)) / (2 * step) for e in np.eye(len(theta))]
    return Weibull(
        theta[:-1], float(np.exp(theta[-1])), find_covariance(-np.array(slopes), score(theta)[1], cluster), -float(found.fun)
    )


def add_up(rows: np.ndarray) -> np.ndarray:
    """Sum (k,) of rows (n, k), one after the other: as sum(axis=0) to the last digit, a fifth of its time where rows are short."""
    return np.einsum("ij->j", rows)


def find_covariance(information: np.ndarray, scores: np.ndarray, cluster: ArrayLike | None) -> np.ndarray:
    """Inverse of the information; on its diagonal the clustered variance where that is larger. ValueError where it isn't a maximum."""
    if np.linalg.eigvalsh((information + information.T) / 2).min() <= 0:
        raise ValueError("the data don't settle the curve")
    plain = np.linalg.inv((information + information.T) / 2)
    names, number = np.unique(np.zeros(0) if cluster is None else np.asarray(cluster), return_inverse=True)
    if len(names) < 2:
        return plain
    sums = np.zeros((len(names), scores.shape[1]))
    np.add.at(sums, number, scores)
    robust = plain @ (sums.T @ sums) @ plain * len(names) / (len(names) - 1)
    return plain + np.diag(np.maximum(np.diag(robust) - np.diag(plain), 0))
