"""All figures as of one day. In: `record`, `duty` and the day. Out: the tables of schema `figure`."""

from __future__ import annotations

from datetime import date
from importlib.resources import files

import duckdb

from pipeline.checks.flags import add_flags
from pipeline.figures.statistics.intervals import register_intervals

# In this order: a later one may read an earlier one.
FIGURES = (
    "count_interval",
    "overdue_monthly",
    "duty_now",
    "unit_now",
    "judged",
    "measure",
    "broken_limit",
    "reason_record",
    "verdict",
    "placement_now",
    "station_now",
    "number_now",
    "agent_mix",
    "stated_vs_computed",
    "freshness",
    "observed",
    "defect_report",
    "defect_rate",
    "corrosion_by_age",
)


def build_figures(con: duckdb.DuckDBPyConnection, as_of: date) -> None:
    """Run every figure's SQL with the day as its only parameter."""
    register_intervals(con)
    for name in FIGURES:
        text = files("pipeline.figures").joinpath(f"{name}.sql").read_text(encoding="utf-8")
        for statement in duckdb.extract_statements(text):
            parameters = {"as_of": as_of} if "as_of" in statement.named_parameters else None
            con.execute(statement, parameters)
    add_flags(con, files("pipeline.figures").joinpath("quiet_vessel.sql").read_text(encoding="utf-8"))
