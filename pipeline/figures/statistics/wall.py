"""Loss of wall thickness. In: days' ages and readings of each unit. Out: rates with limits, drawn together, and the years that remain."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from pipeline.figures.statistics.pooling import draw_normals

LEAST_FREEDOM = 10  # degrees of freedom from which the readings themselves tell the gauge's error


class Line(NamedTuple):
    """y = at + slope x; `error` (nan below 3 points) is the residual standard deviation, `spread` the sum of (x - mean x)^2."""

    at: float
    slope: float
    error: float
    spread: float


class Losses(NamedTuple):
    """Rates (n,) in mm a year, positive where wall is lost, their errors, and what is left of them drawn to their mean."""

    rate: np.ndarray
    error: np.ndarray
    shrunk: np.ndarray
    shrunk_error: np.ndarray
    tau2: float


def fit_line(x: ArrayLike, y: ArrayLike) -> Line:
    """Least squares. ValueError unless there are two different x. Source: Draper N. R., Smith H. (1998) Applied Regression Analysis, ch. 1."""
    x, y = np.asarray(x, float), np.asarray(y, float)
    about = x - x.mean() if len(x) else x
    spread = float(about @ about)
    if not spread > 0:
        raise ValueError("needs readings at two different times")
    slope = float(about @ (y - y.mean()) / spread)
    left = y - y.mean() - slope * about
    error = float(np.sqrt(left @ left / (len(x) - 2))) if len(x) > 2 else np.nan
    return Line(float(y.mean() - slope * x.mean()), slope, error, spread)


def find_gauge_error(lines: list[Line], counts: list[int], usual: float) -> tuple[float, bool]:
    """Standard deviation of a reading in mm, pooled over lines of 3 or more points, and True; `usual` and False where they tell too little."""
    told = [(line.error**2 * (count - 2), count - 2) for line, count in zip(lines, counts, strict=True) if count > 2]
    freedom = sum(part[1] for part in told)
    if freedom < LEAST_FREEDOM or not sum(part[0] for part in told) > 0:
        return usual, False
    return float(np.sqrt(sum(part[0] for part in told) / freedom)), True


def draw_together(lines: list[Line], gauge_error: float) -> Losses:
    """Loss of each unit, its error = gauge error / sqrt(spread), and its mean given what units differ by, as far as that is known.

    Empty in, empty out. ValueError unless gauge_error > 0. Source: as pooling.draw_normals.
    """
    rate, error = -np.array([line.slope for line in lines]), gauge_error / np.sqrt(np.array([line.spread for line in lines]))
    if not gauge_error > 0:
        raise ValueError("a gauge without error needs no statistics")
    if len(lines) < 2:
        return Losses(rate, error, rate, error, 0.0)
    return Losses(rate, error, *draw_normals(rate, error**2))


def say_remaining(
    now_mm: float, now_error: float, least_mm: float | None, highest_rate: float, last_mm: float
) -> tuple[float | None, str | None]:
    """Years from the last reading until the wall reaches its least at the highest rate that the readings allow; None and why where that can't be said.

    Conservative: linear loss at the upper limit, from the lower of the line's height and the last reading itself: a line lies above a wall
    that has begun to thin faster, and one low reading is no ground to wait. Source: the project's rule; common practice, no source.
    """
    reach = float(stats.norm.ppf(0.975)) * now_error
    if least_mm is None:
        return None, "no least wall on record: ask the maker"
    if now_mm + reach < least_mm:
        return None, "below the least wall"
    if now_mm - reach <= least_mm:
        return None, "not estimable: the last reading can't be told from the least wall"
    if highest_rate <= 0:
        return None, "not estimable: no loss that the readings show"
    return (min(now_mm, last_mm) - least_mm) / highest_rate, None
