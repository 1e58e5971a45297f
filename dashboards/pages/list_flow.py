"""Lists of what fell due in the last 12 months, and of what of it was not done in time.

In: figure.due_service, the rows that figure.on_time_year counts, and duty.span. Out: lines of lists, a unit (or sample group), a duty and a
due date each.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import duckdb

from dashboards import words
from dashboards.blocks import Context
from dashboards.database import select_rows
from dashboards.pages.due_items import name_group, say_basis
from dashboards.pages.list_book import MOST_LINES, Entry, Named
from dashboards.pages.list_units import say_place

Row = Any
# Of what fell due on one day the work that came last governs, as in figure.due_service.
FLOW_SQL = """
    WITH fell AS (
        SELECT d.*, r.in_any FROM figure.due_service AS d JOIN (SELECT duty, bool_or(in_any) AS in_any FROM duty.rule GROUP BY duty) AS r USING (duty)
        JOIN (SELECT DISTINCT from_on, to_on FROM figure.on_time_year WHERE period = 'last 12 months') AS y
            ON d.due_on >= y.from_on AND d.due_on <= y.to_on),
    counted AS (SELECT *, duty AS counted_as FROM fell UNION ALL SELECT *, '*' FROM fell WHERE in_any),
    listed AS (
        SELECT counted.*, list FROM counted JOIN (VALUES ('fell-due', true), ('not-in-time', false)) AS l (list, has_all) ON has_all OR NOT is_in_time
        QUALIFY count(*) OVER (PARTITION BY list, counted_as) <= $most)
    SELECT l.*, s.stay_no IS NULL AS is_group, s.basis_on, s.basis_kind, f.path, if(s.done_on IS NULL, s.basis_line_no, s.done_line_no) AS line_no,
        u.position_no, u.space_name
    FROM listed AS l
    LEFT JOIN duty.span AS s ON s.imo_number = l.imo_number AND s.unit_id = l.unit_id AND s.duty = l.duty AND s.due_on = l.due_on
        AND s.done_on IS NOT DISTINCT FROM l.done_on
    LEFT JOIN duty.stay AS t USING (stay_no)
    LEFT JOIN record.unit AS u ON u.file_id = t.file_id AND u.record_no = t.record_no AND u.unit_id = t.unit_id
    LEFT JOIN intake.file AS f ON f.file_id = if(s.done_on IS NULL, s.basis_file_id, s.done_file_id)
    QUALIFY row_number() OVER (PARTITION BY l.list, l.counted_as, l.imo_number, l.unit_id, l.duty, l.due_on ORDER BY s.basis_on DESC, s.subject_no) = 1
    ORDER BY l.list, l.counted_as, l.due_on, l.imo_number, l.unit_id, l.duty"""
TITLES = {
    "fell-due": "Fell due in the last 12 months for {}",
    "not-in-time": "Fell due in the last 12 months for {} and not done in time",
}


def name_flow(which: str, duty: str) -> str:
    """The list of a duty, '*' being any of those that make a unit overdue."""
    return f"{which}-{'any' if duty == '*' else duty}"


def say_end(row: Row, context: Context) -> str:
    """'done 5 Oct 2025, in time', 'done 5 Oct 2025, 32 days late', 'not done', or until when it was asked."""
    if row.done_on:
        days = (row.done_on - row.due_on).days
        late = f"{words.say_count(days, 'day')} late" if days > 0 else "in time"
        return f"done {words.say_date(row.done_on)}, {late}"
    return (
        "not done"
        if row.stopped_on > context.as_of
        else f"not done until {words.say_date(row.stopped_on)}, from when it counts no more"
    )


def list_flow(con: duckdb.DuckDBPyConnection, context: Context) -> Iterator[Named]:
    """By due date; each cites the record of the work, or where there is none the record that the date runs from."""
    for row in select_rows(con, FLOW_SQL, most=MOST_LINES):
        duty = context.book.name_duty(row.duty)
        why = f"{words.say_capital(duty)} due {words.say_date(row.due_on)}, {say_end(row, context)}; counted from {say_basis(row.basis_kind, row.basis_on)}"
        unit, unit_id = (f"one of: {name_group(row.unit_id)}", None) if row.is_group else (row.unit_id, row.unit_id)
        of = context.book.name_any() if row.counted_as == "*" else duty
        entry = Entry(row.imo_number, unit, unit_id, say_place(row), why, row.path, row.line_no)
        yield name_flow(row.list, row.counted_as), TITLES[row.list].format(of), entry
