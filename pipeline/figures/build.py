"""All figures as of one day. In: `record`, `duty` and the day. Out: the tables of schema `figure`."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from importlib import import_module
from importlib.resources import files
from typing import Any

import duckdb

from pipeline.checks.flags import add_flags
from pipeline.duties.slices import slice_subjects
from pipeline.figures.apart import Apart
from pipeline.figures.prices import load_prices
from pipeline.statements import DUCKDB, Statements, read_sql

# In this order: a later one may read an earlier one. A name is a file of SQL; where a module of that name stands beside it, its
# `fill(con, as_of)` then computes what SQL can't: at once, or, where no later one reads it, by what it returns (apart.py).
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
    "defect_comparison",
    "defect_pareto",
    "defect_closing",
    "service_failure",
    "corrosion_by_age",
    "corrosion_history",
    "corrosion_onset",
    "rust_grade_change",
    "wall_loss",
    "pit_depth",
    "asked",
    "due_service",
    "due_call",
    "on_time",
    "overdue_duration",
    "known_record",
    "unit_half_year",
    "back_test",
    "watch_list",
    "watch_cost",
    "part",
)


def compute_figures(con: duckdb.DuckDBPyConnection, as_of: date, names: Sequence[str], statements: Statements = DUCKDB) -> None:
    """Make those figures, in that order; `statements` runs their SQL."""
    # Late: scipy takes a second, and a run that is refused needs none of it.
    from pipeline.figures.statistics.intervals import register_intervals

    register_intervals(con)
    folder = files("pipeline.figures")
    with Apart() as apart:
        for name in names:
            run_text(con, name, as_of, statements)
            if folder.joinpath(f"{name}.py").is_file():
                compute = import_module(f"pipeline.figures.{name}").fill(con, as_of)
                statements.forget()
                if compute:
                    apart.begin(compute)
        apart.finish(con)


def run_text(con: duckdb.DuckDBPyConnection, name: str, as_of: date, statements: Statements) -> None:
    """The SQL of one figure; slice by slice where it names the slice's first and last subject."""
    text, parameters = read_sql("pipeline.figures", name), {"as_of": as_of}
    if "$first" in text:
        statements.run_slices(con, text, slice_subjects(con, "duty.span"), parameters)
    else:
        statements.run(con, text, parameters)


def build_figures(
    con: duckdb.DuckDBPyConnection,
    as_of: date,
    prices: dict[str, Any] | None = None,
    names: Sequence[str] | None = None,
    statements: Statements = DUCKDB,
) -> None:
    """Run every figure's SQL, or that of those named, with the day as its only parameter. prices: as read_prices gives them."""
    load_prices(con, prices)
    compute_figures(con, as_of, FIGURES if names is None else names, statements)
    add_flags(con, read_sql("pipeline.figures", "quiet_vessel"), statements)
