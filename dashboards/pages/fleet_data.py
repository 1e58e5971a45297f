"""The data of the Fleet page.

In: figure.overdue_monthly, unit_now, duty_now. Out: `FleetData`.
"""

from __future__ import annotations

from dataclasses import dataclass

import duckdb

from dashboards import standing
from dashboards.blocks import Context
from dashboards.database import select_rows
from dashboards.pages import bare_records, due_items, fleet_vessels, on_time_data, verdict_rows
from dashboards.standing import Comparison

AHEAD_SQL = """
    SELECT duty, count(*) FILTER (due_on <= $day::DATE + 30) AS in_30, count(*) FILTER (due_on <= $day::DATE + 60) AS in_60,
        count(*) FILTER (due_on <= $day::DATE + 90) AS in_90
    FROM figure.duty_now WHERE state = 'in time' AND due_on <= $day::DATE + 90 GROUP BY duty"""


UNITS_SQL = """
    SELECT counted, count(DISTINCT unit_id) AS units, count(DISTINCT imo_number) AS vessels, sum(open_findings) AS open_findings,
        count(*) FILTER (open_findings > 0) AS found, count(*) FILTER (worst_open_severity = 'unfit') AS unfit,
        count(*) FILTER (worst_open_severity = 'major') AS major, count(*) FILTER (worst_open_severity = 'minor') AS minor
    FROM figure.unit_now GROUP BY counted ORDER BY counted"""


@dataclass(frozen=True)
class FleetData:
    """What the page shows."""

    duties: list[Comparison]
    counted: dict
    ahead: dict[str, tuple[int, int, int]]
    vessels: list[fleet_vessels.VesselRow]
    late: list[due_items.Item]
    unknown: list[due_items.Item]
    bare: frozenset[str]
    verdicts: list[verdict_rows.Row]
    on_time: on_time_data.OnTime

    @property
    def any_duty(self) -> Comparison | None:
        """The comparison over the duties that make a unit overdue."""
        return next((c for c in self.duties if c.duty == "*"), None)


def read_fleet(con: duckdb.DuckDBPyConnection, context: Context) -> FleetData:
    """Query everything once for the whole fleet."""
    months, items = standing.read_months(con, has_all=False), due_items.read_items(con, context, -1)
    found = {row.duty: tuple(row[1:]) for row in select_rows(con, AHEAD_SQL, day=context.as_of)}
    return FleetData(
        standing.compare_duties(months, "*", context.as_of, context.book),
        {row.counted: row for row in select_rows(con, UNITS_SQL)},
        {duty: found.get(duty, (0, 0, 0)) for duty in context.book.duties},
        fleet_vessels.read_vessels(con, context, months),
        [item for item in items if item.state == "overdue"],
        [item for item in items if item.state == "unknown"],
        bare_records.find_bare(con),
        verdict_rows.read_verdicts(con),
        on_time_data.read_on_time(con),
    )
