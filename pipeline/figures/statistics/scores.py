"""How good were the chances and the order? Scores of a forecast of yes or no.

In: chances (n,) or scores (n,), outcomes (n,) of 0 and 1, weights (n,). Out: numbers. What can't be told is None, never NaN.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from pipeline.figures.statistics.hazard import fit_hazard

LEAST_CHANCE = 1e-9  # a chance of 0 or 1 that fails costs about 21, not infinitely much


class Parts(NamedTuple):
    """Murphy's parts: brier = reliability - resolution + uncertainty, where rows of one group have one chance."""

    brier: float
    reliability: float
    resolution: float
    uncertainty: float


class Calibration(NamedTuple):
    """Intercept and slope of the outcomes on the log odds of the chances, and the intercept with the slope held at 1."""

    intercept: float
    slope: float
    in_the_large: float


def as_arrays(chances: ArrayLike, outcomes: ArrayLike, weights: ArrayLike | None) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Three arrays (n,); weights 1 where there are none. ValueError where there is no row."""
    p, y = np.asarray(chances, float), np.asarray(outcomes, float)
    if not len(p):
        raise ValueError("no forecast")
    return p, y, np.ones(len(p)) if weights is None else np.asarray(weights, float)


def brier_score(chances: ArrayLike, outcomes: ArrayLike, weights: ArrayLike | None = None) -> float:
    """Mean squared distance of chance and outcome. Source: Brier G. W. (1950) Monthly Weather Review 78:1 (from memory)."""
    p, y, w = as_arrays(chances, outcomes, weights)
    return float(np.average((p - y) ** 2, weights=w))


def log_score(chances: ArrayLike, outcomes: ArrayLike, weights: ArrayLike | None = None) -> float:
    """Mean of -ln of the chance given to what happened. Source: Good I. J. (1952) J. R. Stat. Soc. B 14:107 (from memory)."""
    p, y, w = as_arrays(chances, outcomes, weights)
    p = np.clip(p, LEAST_CHANCE, 1 - LEAST_CHANCE)
    return float(-np.average(y * np.log(p) + (1 - y) * np.log1p(-p), weights=w))


def murphy_parts(chances: ArrayLike, shares: ArrayLike, weights: ArrayLike) -> Parts:
    """Parts of Brier's score from groups (m,): the chance given, the share that happened, the weight of the group.

    Source: Murphy A. H. (1973) Journal of Applied Meteorology 12:595 (from memory).
    """
    p, o, w = as_arrays(chances, shares, weights)
    mean = np.average(o, weights=w)
    reliability = float(np.average((p - o) ** 2, weights=w))
    resolution = float(np.average((o - mean) ** 2, weights=w))
    uncertainty = float(mean * (1 - mean))
    return Parts(reliability - resolution + uncertainty, reliability, resolution, uncertainty)


def calibrate(chances: ArrayLike, outcomes: ArrayLike, weights: ArrayLike | None = None) -> Calibration | None:
    """How the log odds of the chances would have to be bent. None where outcomes are all alike or the search does not settle.

    Source: Cox D. R. (1958) Biometrika 45:562; Miller M. E. and others (1991) Statistics in Medicine 10:1213 (from memory).
    """
    p, y, w = as_arrays(chances, outcomes, weights)
    p = np.clip(p, LEAST_CHANCE, 1 - LEAST_CHANCE)
    logit = np.log(p) - np.log1p(-p)
    if logit.std() < 1e-9:
        return None
    try:
        found = fit_hazard(logit[:, None], y, w)
    except ValueError:
        return None
    slope = float(found.beta[0] / found.scale[0])
    return Calibration(float(found.intercept - slope * found.mean[0]), slope, shift_to_fit(logit, y, w))


def shift_to_fit(logit: np.ndarray, y: np.ndarray, w: np.ndarray) -> float:
    """What to add to all log odds so that as many events are expected as were seen. Outcomes must not all be alike."""
    low, high = -40.0, 40.0
    for _ in range(100):
        middle = (low + high) / 2
        expected = (w / (1 + np.exp(-np.clip(logit + middle, -700, 700)))).sum()
        low, high = (middle, high) if expected < (w * y).sum() else (low, middle)
    return (low + high) / 2


def count_top(size: int, share: float) -> int:
    """Rows in the top share of a list: rounded half up, at least one where there is any."""
    return min(size, max(1, int(np.floor(size * share + 0.5)))) if size else 0


def precision_at(scores: ArrayLike, outcomes: ArrayLike, top: int) -> float | None:
    """Share of events among the `top` rows of highest score; rows that tie at the edge count in part, as if drawn by lot.

    None where there is no row. Source: the mean over all orders of what ties, by hand (McSherry F., Najork M. 2008, from memory).
    """
    s, y = np.asarray(scores, float), np.asarray(outcomes, float)
    top = min(top, len(s))
    if not top:
        return None
    edge = np.sort(s)[::-1][top - 1]
    above, level = s > edge, s == edge
    return float((y[above].sum() + y[level].mean() * (top - above.sum())) / top)


def lift_at(scores: ArrayLike, outcomes: ArrayLike, top: int) -> float | None:
    """Precision at the top over the share of events among all; None where no event happened."""
    found, y = precision_at(scores, outcomes, top), np.asarray(outcomes, float)
    return None if found is None or not y.sum() else float(found / y.mean())
