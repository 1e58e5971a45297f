"""Chance of an event within a stretch of time from what is known at its start: logistic regression with a ridge.

In: features (n, k), outcomes (n,), weights (n,). Out: coefficients. A discrete-time hazard: one row is a unit and a stretch of time.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

STEPS, TOLERANCE = 60, 1e-9
MOST_LOGIT = 30.0  # beyond it a chance is 0 or 1 to the last digit: the features part the outcomes altogether


class Hazard(NamedTuple):
    """Mean (k,) and scale (k,) of the features, coefficients of standardised features (k,), intercept, their covariance (k+1, k+1)
    with the intercept first, and the log likelihood without the penalty."""

    mean: np.ndarray
    scale: np.ndarray
    beta: np.ndarray
    intercept: float
    covariance: np.ndarray
    log_likelihood: float

    def standardise(self, features: ArrayLike) -> np.ndarray:
        """Features (n, k) as distances from the mean of those fitted, in their standard deviations."""
        return (np.asarray(features, float) - self.mean) / self.scale

    def logit(self, features: ArrayLike) -> np.ndarray:
        """Log odds (n,) of the event."""
        return self.intercept + self.standardise(features) @ self.beta

    def chance(self, features: ArrayLike) -> np.ndarray:
        """Chance (n,) of the event."""
        return expit(self.logit(features))


def expit(logit: ArrayLike) -> np.ndarray:
    """1 / (1 + exp(-x)), without overflow."""
    return 0.5 * (1 + np.tanh(0.5 * np.asarray(logit, float)))


def fit_hazard(features: ArrayLike, outcomes: ArrayLike, weights: ArrayLike | None = None, ridge: float = 0.0) -> Hazard:
    """Coefficients that maximise the weighted log likelihood less ridge / 2 times the sum of their squares, by Newton's method.

    Features (n, k) are standardised by the weighted mean and standard deviation of these rows; one that does not vary has no part.
    The intercept is not penalised. ValueError where all outcomes are alike or the search does not settle (ridge 0 and outcomes that
    the features part altogether). Source: Hoerl A. E., Kennard R. W. (1970) Technometrics 12:55; le Cessie S., van Houwelingen J. C.
    (1992) Applied Statistics 41:191; as a hazard: Singer J. D., Willett J. B. (2003) Applied Longitudinal Data Analysis, chapter 11.
    References from memory.
    """
    x, y = np.asarray(features, float), np.asarray(outcomes, float)
    w = np.ones(len(y)) if weights is None else np.asarray(weights, float)
    if not 0 < (w * y).sum() < w.sum():
        raise ValueError("all outcomes are alike")
    mean = np.average(x, axis=0, weights=w)
    scale = np.sqrt(np.average((x - mean) ** 2, axis=0, weights=w))
    varies = scale > 1e-9
    scale = np.where(varies, scale, 1.0)
    design = np.column_stack([np.ones(len(y)), np.where(varies, (x - mean) / scale, 0.0)])
    penalty = np.concatenate([[0.0], np.where(varies, ridge, 1.0)])
    share = (w * y).sum() / w.sum()
    beta = np.concatenate([[np.log(share / (1 - share))], np.zeros(x.shape[1])])
    gain = weigh(beta, design, y, w, penalty)
    for _ in range(STEPS):
        chance = expit(design @ beta)
        slope = design.T @ (w * (y - chance)) - penalty * beta
        bend = (design * (w * chance * (1 - chance))[:, None]).T @ design + np.diag(penalty)
        step = np.linalg.solve(bend, slope)
        # a full step may overshoot where few events lie far out: halve it until it helps
        while (better := weigh(beta + step, design, y, w, penalty)) < gain and np.abs(step).max() > TOLERANCE:
            step = step / 2
        beta, gain = beta + step, better
        if np.abs(design @ beta).max() > MOST_LOGIT:
            break
        if np.abs(step).max() < TOLERANCE:
            likelihood = gain + 0.5 * float(penalty @ beta**2)
            return Hazard(mean, scale, beta[1:], float(beta[0]), np.linalg.inv(bend), likelihood)
    raise ValueError("the coefficients do not settle")


def weigh(beta: np.ndarray, design: np.ndarray, y: np.ndarray, w: np.ndarray, penalty: np.ndarray) -> float:
    """Weighted log likelihood less the penalty."""
    logit = design @ beta
    return float((w * (y * logit - np.logaddexp(0, logit))).sum() - 0.5 * penalty @ beta**2)
