"""Spans from records and rules. In: `record` and the rule book. Out: duty.rule, duty.stay, duty.counted, duty.span, flags."""

from __future__ import annotations

import duckdb

from pipeline.checks.flags import add_flags
from pipeline.duties.rule_book import RuleBook
from pipeline.duties.rules import load_rules
from pipeline.duties.slices import slice_subjects
from pipeline.statements import DUCKDB, Statements, read_sql


def build_duties(con: duckdb.DuckDBPyConnection, book: RuleBook, statements: Statements = DUCKDB) -> None:
    """Load the rules and build the spans; none of it depends on the day of the report."""
    load_rules(con, book, statements)
    for name in ("stays", "in_force", "events", "called_for"):
        statements.run(con, read_sql("pipeline.duties", name))
    statements.run_slices(con, read_sql("pipeline.duties", "spans"), slice_subjects(con, "duty.subject_event"))
    add_flags(con, read_sql("pipeline.duties", "stated_due"), statements)
    for name in ("duty.subject_event", "plan", "called_for"):
        con.execute(f"drop table {name}")
