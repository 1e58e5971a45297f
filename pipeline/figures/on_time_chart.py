"""The fleet's share done in time, month by month: is a change more than chance? In: months. Out: rows of figure.on_time_chart."""

from __future__ import annotations

from typing import Any

import numpy as np

from pipeline.figures.statistics.process_charts import EWMA_SIGMAS, chart_laney, judge_runs, smooth, spread_smoothed
from pipeline.figures.statistics.trend import find_trend

BASELINE, LEAST_LIMITS, LEAST_RUNS = 24, 20, 12  # months
LEAST_YEARS = 5  # below it no order of years is rarer than 1 in 20


def judge_last(rates: np.ndarray, first: np.ndarray) -> tuple:
    """Runs and crossings of the last months about the baseline's median; nothing below 12 of them off it."""
    if len(rates) < LEAST_RUNS:
        return (None,) * 6
    runs = judge_runs(rates[-BASELINE:], float(np.median(first)))
    return (*runs, runs.is_signal) if runs.points >= LEAST_RUNS else (runs.points, None, None, None, None, None)


def judge_years(rows: list[Any]) -> tuple[int | None, float | None, float | None]:
    """Whole years of 12 months back from the last, Sen's slope of their shares and Mann-Kendall's p; nothing below 5 of them.

    By years, since due dates come back every year and neighbouring months hang together.
    """
    last = rows[-1].month_end
    back = np.array([(last.year - r.month_end.year) * 12 + last.month - r.month_end.month for r in rows])
    years = int(back.max() + 1) // 12
    if years < LEAST_YEARS:
        return None, None, None
    shares = []
    for year in reversed(range(years)):
        mine = [r for r, ago in zip(rows, back, strict=True) if ago // 12 == year]
        due = sum(r.fell_due for r in mine)
        shares.append(sum(r.done_in_time for r in mine) / due if due else np.nan)
    if np.isfinite(shares).sum() < LEAST_YEARS:
        return None, None, None
    found = find_trend(shares)
    return years, found.slope, found.p


def chart_duty(rows: list[Any]) -> list[tuple]:
    """One duty's months with their limits, or why there are none."""
    due, done = (np.array([getattr(r, name) for r in rows], float) for name in ("fell_due", "done_in_time"))
    first = slice(None, BASELINE)
    runs = (*judge_last(done / due, (done / due)[first]), *judge_years(rows))
    chart = chart_laney(done, due, BASELINE) if len(rows) >= LEAST_LIMITS else None
    ends = [r.month_end for r in rows]
    span = (ends[0].replace(day=1), ends[first][-1], len(ends[first]))
    if chart is None:
        one = "in the baseline all were done in time, or none" if len(rows) >= LEAST_LIMITS else None
        why = one or f"{len(rows)} months with something due; {LEAST_LIMITS} are needed for limits"
        empty = (None,) * 4, (None,) * 5
        return [(r.month_end, r.duty, r.fell_due, r.done_in_time, r.done_in_time / r.fell_due, *span, *empty[0], *empty[1], *runs, why) for r in rows]  # fmt: skip
    level = smooth(chart.z / max(1.0, chart.sigma_z), 0.0)
    edge = EWMA_SIGMAS * spread_smoothed(len(level))
    cells = zip(rows, chart.low, chart.high, chart.is_outside, level, edge, strict=True)
    return [
        (r.month_end, r.duty, r.fell_due, r.done_in_time, r.done_in_time / r.fell_due, *span, chart.centre, float(low), float(high),
         chart.sigma_z, bool(is_outside), float(at), -float(far), float(far), bool(abs(at) > far), *runs, None)
        for r, low, high, is_outside, at, far in cells
    ]  # fmt: skip


def chart_duties(months: list[Any]) -> list[tuple]:
    """All duties, by name and month; months in which nothing fell due are no points."""
    rows = []
    for duty in sorted({row.duty for row in months}):
        told = [row for row in months if row.duty == duty and row.fell_due]
        rows += chart_duty(told) if told else []
    return rows
