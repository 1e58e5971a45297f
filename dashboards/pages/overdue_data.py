"""The data of the Overdue page.

In: figure.overdue_monthly, overdue_now, duty_now, on_time_year, on_time_chart, overdue_duration. Out: `OverdueData`.
"""

from __future__ import annotations

from dataclasses import dataclass

import duckdb

from dashboards import standing
from dashboards.blocks import Context
from dashboards.database import select_rows
from dashboards.pages import bare_records, due_items, on_time_data
from dashboards.standing import Months

BANDS = ("1 to 7 days", "8 to 30 days", "31 to 90 days", "91 to 180 days", "over 180 days")


BAND_ENDS = (7, 30, 90, 180)


NO_MONTH = "No month with a unit in service yet. Load a register of units and at least one inspection or service."


AGES_SQL = """
    SELECT band, count(*) AS items FROM (
        SELECT CASE WHEN days_overdue <= 7 THEN 0 WHEN days_overdue <= 30 THEN 1 WHEN days_overdue <= 90 THEN 2
            WHEN days_overdue <= 180 THEN 3 ELSE 4 END AS band FROM figure.overdue_now) GROUP BY band"""


SPREAD_SQL = """
    SELECT coalesce(duty, '*') AS duty, count(*) AS items, median(days_overdue) AS median_days,
        quantile_cont(days_overdue, 0.9) AS p90_days, max(days_overdue) AS most_days
    FROM figure.overdue_now GROUP BY GROUPING SETS ((duty), ())  HAVING count(*) > 0"""


LOAD_SQL = """
    SELECT month::DATE AS month, count(d.duty) AS due
    FROM generate_series(date_trunc('month', $day::DATE), date_trunc('month', $day::DATE + 365), INTERVAL 1 MONTH) AS m (month)
    LEFT JOIN figure.duty_now AS d ON date_trunc('month', d.due_on) = m.month AND d.state = 'in time'
        AND d.due_on <= $day::DATE + 365 AND NOT list_contains($rounds, d.duty)
    GROUP BY m.month ORDER BY m.month"""


def find_band(days: int) -> int:
    """Which of the bands so many days overdue lie in."""
    return sum(days > end for end in BAND_ENDS)


@dataclass(frozen=True)
class OverdueData:
    """What the page shows."""

    months: Months
    ages: list[int]
    spread: list
    load: list
    items: list[due_items.Item]
    unknown: list[due_items.Item]
    bare: frozenset[str]
    on_time: on_time_data.OnTime


def read_overdue(con: duckdb.DuckDBPyConnection, context: Context) -> OverdueData:
    """Query everything once for the whole fleet."""
    found = {row.band: row.items for row in select_rows(con, AGES_SQL)}
    spread = sorted(select_rows(con, SPREAD_SQL), key=lambda r: context.book.order_duty(r.duty))
    ages = [found.get(band, 0) for band in range(len(BANDS))]
    load = select_rows(con, LOAD_SQL, day=context.as_of, rounds=context.book.rounds)
    listed = due_items.read_items(con, context, -1)
    items = sorted(
        (item for item in listed if item.state == "overdue"),
        key=lambda item: (-(item.days_overdue or 0), item.imo_number, item.unit_id, item.duty),
    )
    unknown = [item for item in listed if item.state == "unknown"]
    return OverdueData(
        standing.read_months(con, has_all=False),
        ages,
        spread,
        load,
        items,
        unknown,
        bare_records.find_bare(con),
        on_time_data.read_on_time(con),
    )
