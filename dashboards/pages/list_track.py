"""Lists of the units of a past watch list that were condemned within 12 months, or left for another reason.

In: figure.unit_half_year, the rows that figure.back_test counts, figure.back_test_condemned, and the records that say so. Out: lines of lists.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Any

import duckdb

from dashboards import words
from dashboards.blocks import Context
from dashboards.database import select_rows
from dashboards.pages.list_book import MOST_LINES, Named
from dashboards.pages.list_units import make_entry

Row = Any
# Whoever left with the vessel is cited by the vessel's own row.
TRACK_SQL = """
    WITH listed AS (
        SELECT imo_number, unit_id, starts_on, if(condemned, 'condemned', 'left') AS list, if(condemned, condemned_on, gone_on) AS end_on,
            if(condemned, 'condemned', gone_reason) AS reason
        FROM figure.unit_half_year WHERE NOT is_now AND (condemned OR (NOT condemned AND gone_on IS NOT NULL))
        QUALIFY count(*) OVER (PARTITION BY list, starts_on) <= $most),
    grouped AS (
        SELECT unit_id, cutoff AS starts_on, 'condemned' AS list, concat(grouped_by, '-', group_no) AS of_group FROM figure.back_test_condemned
        QUALIFY count(*) OVER (PARTITION BY grouped_by, group_no) <= $most),
    said AS (
        SELECT unit_id, serviced_on AS end_on, 'condemned' AS list, 1 AS place_no, file_id, line_no FROM record.service WHERE kind = 'condemn'
        UNION ALL
        SELECT unit_id, removed_on, if(removal_reason = 'condemned', 'condemned', 'left'), 2, file_id, line_no FROM record.unit
        WHERE removed_on IS NOT NULL
        UNION ALL
        SELECT u.unit_id, v.left_on, 'left', 3, v.file_id, v.line_no FROM record.unit AS u JOIN record.vessel AS v USING (imo_number)
        WHERE v.left_on IS NOT NULL)
    SELECT l.imo_number, l.unit_id, l.starts_on, l.list, l.end_on, l.reason, l.of_group, NULL AS position_no, NULL AS space_name, f.path, s.line_no
    FROM (SELECT *, NULL AS of_group FROM listed UNION ALL SELECT * FROM listed JOIN grouped USING (unit_id, starts_on, list)) AS l
    LEFT JOIN said AS s USING (unit_id, end_on, list) LEFT JOIN intake.file AS f USING (file_id)
    QUALIFY row_number() OVER (PARTITION BY l.list, l.starts_on, l.of_group, l.unit_id ORDER BY s.place_no, f.path, s.line_no) = 1
    ORDER BY l.starts_on, l.list, l.end_on, l.imo_number, l.unit_id"""
TITLES = {"condemned": "Condemned within 12 months of {}", "left": "Left for another reason within 12 months of {}"}
GROUPS = {"fifth": "fifth of chances", "band": "band"}


def name_track(which: str, starts_on: date) -> str:
    """The list of what became of the units in service on that day."""
    return f"{which}-after-{starts_on}"


def name_group(grouped_by: str, group_no: int) -> str:
    """The list of the condemned units of a fifth or band, of all past lists that figure.back_test_group takes together."""
    return f"condemned-in-{grouped_by}-{group_no}"


def list_track(con: duckdb.DuckDBPyConnection, context: Context) -> Iterator[Named]:
    """By the day on which it happened."""
    for row in select_rows(con, TRACK_SQL, most=MOST_LINES):
        entry = make_entry(row, f"{words.say_capital(words.say_slug(row.reason))} on {words.say_date(row.end_on)}")
        if row.of_group:
            grouped_by, _, number = row.of_group.rpartition("-")
            yield (
                name_group(grouped_by, int(number)),
                f"Condemned within 12 months, {GROUPS[grouped_by]} {number} of past lists",
                entry,
            )
        else:
            yield name_track(row.list, row.starts_on), TITLES[row.list].format(words.say_date(row.starts_on)), entry
