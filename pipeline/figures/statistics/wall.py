"""Loss of wall thickness. In: days' ages and readings of each unit. Out: rates with limits, drawn together, and the years that remain."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from pipeline.figures.statistics.pooling import draw_normals

REACH = float(special.ndtri(0.975))
LEAST_FREEDOM = 10  # degrees of freedom from which the readings themselves tell the gauge's error


class Line(NamedTuple):
    """y = at + slope x; `error` (nan below 3 points) is the residual standard deviation, `spread` the sum of (x - mean x)^2.

    Numbers of one line, or arrays (n,) of n lines.
    """

    at: ArrayLike
    slope: ArrayLike
    error: ArrayLike
    spread: ArrayLike


class Losses(NamedTuple):
    """Rates (n,) in mm a year, positive where wall is lost, their errors, and what is left of them drawn to their mean."""

    rate: np.ndarray
    error: np.ndarray
    shrunk: np.ndarray
    shrunk_error: np.ndarray
    tau2: float


def fit_line(x: ArrayLike, y: ArrayLike) -> Line:
    """As fit_lines, of one line's points (k,): four numbers."""
    return Line(*(float(values[0]) for values in fit_lines(x, y, [0])))


def fit_lines(x: ArrayLike, y: ArrayLike, first: ArrayLike) -> Line:
    """Least squares of n lines, whose points (k,) stand one line after the other; first (n,): where each line's begin.

    ValueError unless each line has two different x. Source: Draper N. R., Smith H. (1998) Applied Regression Analysis, ch. 1.
    """
    x, y, first = np.asarray(x, float), np.asarray(y, float), np.asarray(first)
    if not len(x):
        raise ValueError("needs readings at two different times")
    counts = np.diff(first, append=len(x))
    mean_x, mean_y = (np.add.reduceat(values, first) / counts for values in (x, y))
    about, height = x - np.repeat(mean_x, counts), y - np.repeat(mean_y, counts)
    spread = np.add.reduceat(about * about, first)
    if not (spread > 0).all():
        raise ValueError("needs readings at two different times")
    slope = np.add.reduceat(about * height, first) / spread
    left = height - np.repeat(slope, counts) * about
    error = np.sqrt(np.add.reduceat(left * left, first) / np.where(counts > 2, counts - 2, np.nan))
    return Line(mean_y - slope * mean_x, slope, error, spread)


def find_gauge_error(lines: Line, counts: ArrayLike, usual: float) -> tuple[float, bool]:
    """Standard deviation of a reading in mm, pooled over lines of 3 or more of their counts (n,) of points, and True; `usual` and False
    where they tell too little."""
    counts = np.asarray(counts)
    told = counts > 2
    freedom, squares = int((counts[told] - 2).sum()), float((np.asarray(lines.error)[told] ** 2 * (counts[told] - 2)).sum())
    if freedom < LEAST_FREEDOM or not squares > 0:
        return usual, False
    return float(np.sqrt(squares / freedom)), True


def draw_together(lines: Line, gauge_error: float) -> Losses:
    """Loss of each unit (n,), its error = gauge error / sqrt(spread), and its mean given what units differ by, as far as that is known.

    Empty in, empty out. ValueError unless gauge_error > 0. Source: as pooling.draw_normals.
    """
    rate, error = -np.asarray(lines.slope), gauge_error / np.sqrt(np.asarray(lines.spread))
    if not gauge_error > 0:
        raise ValueError("a gauge without error needs no statistics")
    if len(rate) < 2:
        return Losses(rate, error, rate, error, 0.0)
    return Losses(rate, error, *draw_normals(rate, error**2))


def say_remaining(
    now_mm: float, now_error: float, least_mm: float | None, highest_rate: float, last_mm: float
) -> tuple[float | None, str | None]:
    """Years from the last reading until the wall reaches its least at the highest rate that the readings allow; None and why where that can't be said.

    Conservative: linear loss at the upper limit, from the lower of the line's height and the last reading itself: a line lies above a wall
    that has begun to thin faster, and one low reading is no ground to wait. Source: the project's rule; common practice, no source.
    """
    reach = REACH * now_error
    if least_mm is None:
        return None, "no least wall on record: ask the maker"
    if now_mm + reach < least_mm:
        return None, "below the least wall"
    if now_mm - reach <= least_mm:
        return None, "not estimable: the last reading can't be told from the least wall"
    if highest_rate <= 0:
        return None, "not estimable: no loss that the readings show"
    return (min(now_mm, last_mm) - least_mm) / highest_rate, None
