"""Lists of units overdue on past month ends, from the stretches and spans that figure.overdue_monthly is the sum of.

In: figure.count_interval, figure.overdue_monthly, duty.span, duty.counted, record.unit. Out: lines of lists.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from itertools import groupby
from typing import Any

import duckdb

from dashboards import words
from dashboards.blocks import Context
from dashboards.database import select_rows
from dashboards.pages.due_items import say_basis
from dashboards.pages.list_book import MOST_LINES, Named
from dashboards.pages.list_units import make_entry

Row = Any
MONTHS = 24  # as many as the pages show
# A unit stands once for each duty that it was late on; of overlapping stays the one that was due first tells why.
PAST_SQL = """
    WITH month AS (
        SELECT DISTINCT month_end FROM (
            SELECT month_end FROM figure.overdue_monthly WHERE duty = '*'
            QUALIFY dense_rank() OVER (PARTITION BY imo_number ORDER BY month_end DESC) <= $months)),
    late AS (
        SELECT imo_number, unit_id, month_end FROM figure.count_interval JOIN month ON from_on <= month_end AND to_on > month_end
        WHERE duty = '*' AND measure = 'overdue' QUALIFY count(*) OVER (PARTITION BY month_end) <= $most),
    reason AS (
        SELECT s.imo_number, s.unit_id, month_end, s.duty, s.due_on, s.basis_on, s.basis_kind, s.basis_file_id, s.basis_line_no, s.stay_no
        FROM duty.span AS s SEMI JOIN (FROM duty.rule WHERE in_any) AS r USING (duty)
        JOIN duty.counted AS c USING (stay_no)
        JOIN month ON c.from_on <= month_end AND c.to_on > month_end AND s.due_on < month_end AND coalesce(s.done_on > month_end, true)
            AND s.judged_from <= month_end AND coalesce(s.judged_to > month_end, true)
        WHERE coalesce(s.done_on > s.due_on + 1, true)
        QUALIFY row_number() OVER (PARTITION BY s.imo_number, s.unit_id, month_end, s.duty ORDER BY s.due_on, s.subject_no) = 1)
    SELECT l.imo_number, l.unit_id, l.month_end, r.duty, r.due_on, r.basis_on, r.basis_kind, u.position_no, u.space_name, f.path,
        r.basis_line_no AS line_no
    FROM late AS l LEFT JOIN reason AS r USING (imo_number, unit_id, month_end)
    LEFT JOIN duty.stay AS t USING (stay_no)
    LEFT JOIN record.unit AS u ON u.file_id = t.file_id AND u.record_no = t.record_no AND u.unit_id = t.unit_id
    LEFT JOIN intake.file AS f ON f.file_id = r.basis_file_id
    ORDER BY l.month_end, min(r.due_on) OVER (PARTITION BY l.imo_number, l.unit_id, l.month_end), l.imo_number, l.unit_id,
        r.due_on, r.duty"""


def name_past(month_end: date) -> str:
    """The list of the units that were overdue on that day."""
    return f"overdue-on-{month_end}"


def say_past(row: Row, context: Context) -> str:
    """'Onboard check due 3 Sep 2026, 27 days overdue then; counted from inspection, 3 Aug 2026'."""
    late = words.say_count((row.month_end - row.due_on).days, "day")
    duty = words.say_capital(context.book.name_duty(row.duty))
    return f"{duty} due {words.say_date(row.due_on)}, {late} overdue then; counted from {say_basis(row.basis_kind, row.basis_on)}"


def list_past(con: duckdb.DuckDBPyConnection, context: Context) -> Iterator[Named]:
    """Each unit once a month end, longest overdue first; it cites the record that its oldest date runs from."""
    rows = select_rows(con, PAST_SQL, months=MONTHS, most=MOST_LINES)
    for (month_end, _, _), found in groupby(rows, key=lambda row: (row.month_end, row.imo_number, row.unit_id)):
        mine = list(found)
        why = ". ".join(say_past(row, context) for row in mine if row.due_on)
        yield name_past(month_end), f"Units overdue on {words.say_date(month_end)}", make_entry(mine[0], why)
