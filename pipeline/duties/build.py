"""Spans from records and rules. In: `record` and the rule book. Out: duty.rule, duty.stay, duty.counted, duty.span, flags."""

from __future__ import annotations

from importlib.resources import files

import duckdb

from pipeline.checks.flags import add_flags
from pipeline.duties.rule_book import RuleBook
from pipeline.duties.rules import load_rules
from pipeline.statements import DUCKDB, Statements


def build_duties(con: duckdb.DuckDBPyConnection, book: RuleBook, statements: Statements = DUCKDB) -> None:
    """Load the rules and build the spans; none of it depends on the day of the report."""
    load_rules(con, book, statements)
    for name in ("stays.sql", "in_force.sql", "events.sql", "spans.sql"):
        statements.run(con, files("pipeline.duties").joinpath(name).read_text(encoding="utf-8"))
    add_flags(con, files("pipeline.duties").joinpath("stated_due.sql").read_text(encoding="utf-8"), statements)
    for name in ("event", "subject_event"):
        con.execute(f"drop table duty.{name}")
