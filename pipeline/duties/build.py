"""Spans from records and rules. In: `record` and the rule book. Out: duty.rule, duty.stay, duty.counted, duty.span, flags."""

from __future__ import annotations

import duckdb

from pipeline.checks.flags import add_flags
from pipeline.duties.rule_book import RuleBook
from pipeline.duties.rules import load_rules
from pipeline.statements import DUCKDB, Slice, Statements, read_sql

EVENTS_AT_ONCE = 1_000_000  # a window over so many takes some 300 MB


def build_duties(con: duckdb.DuckDBPyConnection, book: RuleBook, statements: Statements = DUCKDB) -> None:
    """Load the rules and build the spans; none of it depends on the day of the report."""
    load_rules(con, book, statements)
    for name in ("stays", "in_force", "events", "called_for"):
        statements.run(con, read_sql("pipeline.duties", name))
    statements.run_slices(con, read_sql("pipeline.duties", "spans"), slice_subjects(con))
    add_flags(con, read_sql("pipeline.duties", "stated_due"), statements)
    for name in ("duty.subject_event", "plan", "called_for"):
        con.execute(f"drop table {name}")


def slice_subjects(con: duckdb.DuckDBPyConnection) -> list[Slice]:
    """The numbers of subjects in slices of whole vessels with some EVENTS_AT_ONCE events each; one slice at least."""
    rows = con.execute(
        """
        with vessel as (
            select imo_number, max(subject_no) as last, count(event.subject_no) as events
            from duty.subject left join duty.subject_event as event using (subject_no) group by imo_number
        ),
        numbered as (select last, sum(events) over (order by imo_number) // $at_once as slice_no from vessel)
        select max(last) from numbered group by slice_no order by slice_no""",
        {"at_once": EVENTS_AT_ONCE},
    ).fetchall()
    ends = [last for (last,) in rows] or [0]
    return [{"first": before + 1, "last": last} for before, last in zip([0, *ends], ends, strict=False)]
