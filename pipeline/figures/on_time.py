"""What falls due and is done in time: limits that allow for what is late together, a funnel of vessels, a chart of months.

In: figure.on_time_monthly, without limits, and due_call, what stands or falls together. Out: its limits, and the rows of figure.on_time_year and figure.on_time_chart.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import NamedTuple

import duckdb
import numpy as np

from pipeline.figures.apart import Compute, Write, write_each
from pipeline.figures.insert import insert_many, insert_rows
from pipeline.figures.on_time_chart import chart_duties
from pipeline.figures.on_time_years import compare_twelves, read_twelves
from pipeline.figures.statistics.proportions import korn_graubard

# vessels of each month and duty as neighbours; those with nothing due tell nothing of limits
PARTS_SQL = """
    select done_in_time, fell_due from figure.on_time_monthly where imo_number <> '*' and fell_due > 0 order by month_end, duty, imo_number"""


class Month(NamedTuple):
    """One row of the fleet in figure.on_time_monthly, as far as it is counted."""

    month_end: date
    duty: str
    fell_due: int
    done_in_time: int
    clusters: int


def limit_months(months: list[Month], found: dict[str, np.ndarray]) -> list[tuple]:
    """Limits of the fleet's months, over vessels. found: columns (n,) of PARTS_SQL."""
    done, due = (np.asarray(found[name], float) for name in ("done_in_time", "fell_due"))
    rows, first = [], 0
    for row in months:
        part = slice(first, first := first + row.clusters)
        share = korn_graubard(done[part], due[part])
        rows.append((row.month_end, row.duty, share.low, share.high))
    return rows


def write_limits(con: duckdb.DuckDBPyConnection, table: str, rows: Sequence[tuple]) -> None:
    """Put the limits (month_end, duty, low, high) to the fleet's months in that table."""
    con.execute("create temp table month_limit (month_end date, duty varchar, low double, high double)")
    insert_rows(con, "month_limit", rows)
    con.execute(
        f"update {table} as month set low = found.low, high = found.high from month_limit as found "
        "where month.imo_number = '*' and (month.month_end, month.duty) = (found.month_end, found.duty)"
    )
    con.execute("drop table month_limit")


def fill(con: duckdb.DuckDBPyConnection, as_of: date) -> Compute | None:
    """Read what fell due; what is returned computes what completes the tables of on_time.sql."""
    columns = ", ".join(Month._fields)
    found = con.execute(
        f"select {columns} from figure.on_time_monthly where imo_number = '*' order by month_end, duty"
    ).fetchall()
    months, parts = [Month(*row) for row in found], con.execute(PARTS_SQL).fetchnumpy()
    ends = con.execute(
        "select month_end from figure.overdue_monthly union select month_end from figure.on_time_monthly order by 1"
    ).fetchall()
    twelves = read_twelves(con, [row[0] for row in ends]) if months else []
    con.execute("drop table due_call")

    def compute() -> Write:
        limits, years, chart = limit_months(months, parts), compare_twelves(twelves), chart_duties(months)
        return write_each(
            (write_limits, "figure.on_time_monthly", limits), (insert_many, "figure.on_time_year", years),
            (insert_rows, "figure.on_time_chart", chart),
        )  # fmt: skip

    return compute if months else None
