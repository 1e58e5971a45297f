"""What falls due and is done in time: limits that allow for what is late together, a funnel of vessels, a chart of months.

In: figure.on_time_monthly, without limits, and due_call, what stands or falls together. Out: its limits, and the rows of figure.on_time_year and figure.on_time_chart.
"""

from __future__ import annotations

from collections import defaultdict
from datetime import date
from typing import NamedTuple

import duckdb
import numpy as np

from pipeline.figures.insert import insert_rows
from pipeline.figures.on_time_chart import chart_duties
from pipeline.figures.on_time_years import FLEET, Call, fill_years
from pipeline.figures.statistics.display import FEW_CLUSTERS
from pipeline.figures.statistics.proportions import LEAST_CLUSTERS, korn_graubard

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


def fill(con: duckdb.DuckDBPyConnection, as_of: date) -> None:
    """Complete the tables of on_time.sql."""
    columns = ", ".join(Month._fields)
    found = con.execute(f"select {columns} from figure.on_time_monthly order by month_end, imo_number, duty").fetchall()
    months = [Month(*row) for row in found]
    calls = [Call(*row) for row in con.execute(f"select {', '.join(Call._fields)} from due_call order by all").fetchall()]
    con.execute("drop table due_call")
    if not months:
        return
    ends = [row[0] for row in con.execute("select distinct month_end from figure.overdue_monthly order by 1").fetchall()]
    fill_months(con, months, as_of)
    fill_years(con, calls, np.unique(np.array([*ends, *(row.month_end for row in months)])).tolist())
    insert_rows(con, "figure.on_time_chart", chart_duties([row for row in months if row.imo_number == FLEET]))
