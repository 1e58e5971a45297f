"""What falls due and is done in time: limits that allow for what is late together, a funnel of vessels, a chart of months.

In: figure.on_time_monthly, without limits. Out: its limits, and the rows of figure.on_time_year and figure.on_time_chart.
"""

from __future__ import annotations

from collections import defaultdict
from datetime import date
from typing import NamedTuple

import duckdb
import numpy as np

from pipeline.figures.insert import insert_rows
from pipeline.figures.on_time_chart import chart_duties
from pipeline.figures.on_time_funnel import Place, compare_years, place_vessels
from pipeline.figures.statistics.design_effect import CommonEffect, pool_design_effect
from pipeline.figures.statistics.display import FEW_CLUSTERS, judge_display
from pipeline.figures.statistics.proportions import LEAST_CLUSTERS, ClusteredShare, korn_graubard, wilson_limits

FLEET, YEAR = "*", 12  # months
NOW, BEFORE = "last 12 months", "the 12 before"
UNKNOWN_SHARE = 0.05


class Month(NamedTuple):
    """One row of figure.on_time_monthly, as far as it is counted."""

    month_end: date
    imo_number: str
    duty: str
    fell_due: int
    done_in_time: int
    unknown: int


def flag_month(row: Month, clusters: int, as_of: date) -> str | None:
    """What a reader of the row has to know, in words joined by '; '."""
    known = row.fell_due + row.unknown
    said = {
        "nothing fell due": not row.fell_due,
        "too few to have limits": row.fell_due and clusters < LEAST_CLUSTERS,
        "limits of few vessels": LEAST_CLUSTERS <= clusters < FEW_CLUSTERS,
        "month not over": row.month_end == as_of,
        "more than 5 % unknown": known and row.unknown > UNKNOWN_SHARE * known,
    }
    return "; ".join(words for words, holds in said.items() if holds) or None


def fill_months(con: duckdb.DuckDBPyConnection, months: list[Month], as_of: date) -> None:
    """Limits of the fleet's months, over vessels, and flags of all."""
    by_month = defaultdict(list)
    for row in months:
        if row.imo_number != FLEET:
            by_month[row.month_end, row.duty].append(row)
    rows = []
    for row in months:
        clusters, low, high = int(row.fell_due > 0), None, None
        if row.imo_number == FLEET:
            parts = by_month[row.month_end, row.duty]
            share = korn_graubard([r.done_in_time for r in parts], [r.fell_due for r in parts])
            clusters, low, high = share.clusters, share.low, share.high
        rows.append((row.month_end, row.imo_number, row.duty, low, high, flag_month(row, clusters, as_of)))
    columns = "month_end date, imo_number varchar, duty varchar, low double, high double, flags varchar"
    con.execute(f"create temp table month_limit ({columns})")
    insert_rows(con, "month_limit", rows)
    con.execute(
        "update figure.on_time_monthly as month set low = found.low, high = found.high, flags = found.flags from month_limit as found "
        "where (month.month_end, month.imo_number, month.duty) = (found.month_end, found.imo_number, found.duty)"
    )
    con.execute("drop table month_limit")


class Year(NamedTuple):
    """Twelve months: shares by vessel and duty, and the design effect of each duty."""

    period: str
    from_on: date
    to_on: date
    shares: dict[tuple[str, str], ClusteredShare]
    effects: dict[str, CommonEffect | None]


def measure_year(period: str, span: list[date], months: list[Month]) -> Year:
    """Shares over vessel and due month, of each vessel and of the fleet."""
    cells: dict[tuple[str, str], tuple[list[int], list[int]]] = defaultdict(lambda: ([], []))
    for row in months:
        if row.imo_number != FLEET and span[0] <= row.month_end <= span[-1]:
            for imo in (row.imo_number, FLEET):
                cells[imo, row.duty][0].append(row.done_in_time)
                cells[imo, row.duty][1].append(row.fell_due)
    shares = {key: korn_graubard(*cells[key]) for key in sorted(cells)}
    of_duty = defaultdict(list)
    for (imo, duty), counts in cells.items():
        if imo != FLEET:
            of_duty[duty].append(counts)
    effects = {duty: pool_design_effect(of_duty[duty]) for duty in sorted(of_duty)}
    return Year(period, span[0].replace(day=1), span[-1], shares, effects)


def write_year(
    year: Year, key: tuple[str, str], share: ClusteredShare, place: Place, change: tuple
) -> tuple:  # fmt: skip
    """One row of figure.on_time_year."""
    shown, why = judge_display(share)
    naive = wilson_limits(share.done, share.due) if share.due else (None, None)
    reason = (why, None) if shown != "rate" else (None, why)
    return (
        year.period, year.from_on, year.to_on, *key, share.due, share.done, share.share, share.low, share.high, share.clusters, share.effective, *naive,
        shown, *reason, *place, *change,
    )  # fmt: skip


def fill_years(con: duckdb.DuckDBPyConnection, months: list[Month], ends: list[date]) -> None:
    """Each vessel and the fleet, by duty: the last twelve months and, where the records reach back so far, the twelve before."""
    now = measure_year(NOW, ends[-YEAR:], months)
    before = measure_year(BEFORE, ends[-2 * YEAR : -YEAR], months) if len(ends) >= 2 * YEAR else None
    rows = []
    for year in filter(None, (now, before)):
        places = {}
        for duty, effect in year.effects.items():
            vessels = {imo: share for (imo, of_duty), share in year.shares.items() if of_duty == duty and imo != FLEET}
            found = place_vessels(year.shares[FLEET, duty].share, vessels, effect)
            places |= {(imo, duty): place for imo, place in found.items()}
        for key, share in year.shares.items():
            change: tuple = (None,) * 4
            if year is now:
                past = (before.shares.get(key), before.effects.get(key[1])) if before else (None, None)
                change = compare_years(share, now.effects[key[1]], *past)
            rows.append(write_year(year, key, share, places[key], change))
    insert_rows(con, "figure.on_time_year", rows)


def fill(con: duckdb.DuckDBPyConnection, as_of: date) -> None:
    """Complete the tables of on_time.sql."""
    columns = ", ".join(Month._fields)
    found = con.execute(f"select {columns} from figure.on_time_monthly order by month_end, imo_number, duty").fetchall()
    months = [Month(*row) for row in found]
    if not months:
        return
    ends = [row[0] for row in con.execute("select distinct month_end from figure.overdue_monthly order by 1").fetchall()]
    fill_months(con, months, as_of)
    fill_years(con, months, np.unique(np.array([*ends, *(row.month_end for row in months)])).tolist())
    insert_rows(con, "figure.on_time_chart", chart_duties([row for row in months if row.imo_number == FLEET]))
