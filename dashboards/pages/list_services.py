"""Lists of services that passed a unit, of those looked at again within 90 days, and of those that failed by then.

In: figure.service_followed, figure.defect_report, record.service, record.inspection. Out: lines of lists, a unit and a day of service each.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import duckdb

from dashboards import words
from dashboards.blocks import Context
from dashboards.database import select_rows
from dashboards.pages.list_book import MOST_LINES, Named
from dashboards.pages.list_units import make_entry
from dashboards.pages.unit_names import name_safely

Row = Any
# What failed cites the first record that says so: a defect not known at the service, else an unsatisfactory inspection.
SERVICES_SQL = """
    WITH serviced AS (
        SELECT v.*, period, of_provider FROM figure.service_followed AS v
        JOIN (VALUES ('all', DATE '0001-01-01'), ('last 12 months', ($day::DATE + 1 - to_months(12))::DATE)) AS p (period, start_on)
            ON serviced_on >= start_on, LATERAL (SELECT unnest(['*', v.provider]) AS of_provider)),
    listed AS (
        SELECT serviced.*, list FROM serviced
        JOIN (VALUES ('serviced'), ('looked-at'), ('failed')) AS l (list)
            ON list = 'serviced' OR (is_looked_at AND (list = 'looked-at' OR is_failed))
        QUALIFY count(*) OVER (PARTITION BY list, period, of_provider) <= $most),
    bad AS (
        SELECT v.unit_id, v.serviced_on, 1 AS kind, found_on AS seen_on, concat(d.component, ' ', d.defect) AS what, d.severity, d.file_id, d.line_no
        FROM figure.service_followed AS v JOIN figure.defect_report AS d ON d.unit_id = v.unit_id AND d.found_on > v.serviced_on AND d.found_on <= v.to_on
        WHERE v.is_failed AND d.is_counted AND d.severity IN ('major', 'unfit') AND NOT EXISTS (
            FROM figure.defect_report AS k WHERE k.unit_id = d.unit_id AND k.component = d.component AND k.defect = d.defect AND k.is_counted
                AND k.defect_no = d.defect_no AND k.found_on <= v.serviced_on)
        UNION ALL
        SELECT v.unit_id, v.serviced_on, 2, i.inspected_on, 'inspection', i.outcome, i.file_id, i.line_no
        FROM figure.service_followed AS v JOIN record.inspection AS i ON i.unit_id = v.unit_id AND i.inspected_on > v.serviced_on
            AND i.inspected_on <= v.to_on
        WHERE v.is_failed AND i.outcome = 'unsatisfactory'),
    failing AS (
        SELECT * FROM bad QUALIFY row_number() OVER (PARTITION BY unit_id, serviced_on ORDER BY kind, seen_on, file_id, line_no) = 1),
    visit AS (
        SELECT unit_id, serviced_on, kind, file_id, line_no FROM record.service
        QUALIFY row_number() OVER (PARTITION BY unit_id, serviced_on ORDER BY file_id, line_no) = 1)
    SELECT l.list, l.period, l.of_provider, l.imo_number, l.unit_id, l.serviced_on, l.provider, NULL AS position_no, NULL AS space_name,
        s.kind, g.path AS serviced_path, s.line_no AS serviced_line_no, f.what, f.severity, f.seen_on,
        coalesce(h.path, g.path) AS path, coalesce(f.line_no, s.line_no) AS line_no
    FROM listed AS l LEFT JOIN visit AS s USING (unit_id, serviced_on) LEFT JOIN intake.file AS g ON g.file_id = s.file_id
    LEFT JOIN failing AS f ON l.list = 'failed' AND f.unit_id = l.unit_id AND f.serviced_on = l.serviced_on
    LEFT JOIN intake.file AS h ON h.file_id = f.file_id
    ORDER BY l.list, l.period, l.of_provider, l.serviced_on, l.imo_number, l.unit_id"""
TITLES = {
    "serviced": "Units serviced with a satisfactory outcome",
    "looked-at": "Looked at again within 90 days of service",
    "failed": "Failed within 90 days of service",
}


def name_services(which: str, period: str, provider: str) -> str:
    """The list of a period of service and a provider, '*' being all of them."""
    return f"{which}-{name_safely('|'.join((period, provider)))}"


def say_service(row: Row) -> str:
    """'Annual service of 3 Feb 2026 by Dunvarra Works (mid/a.csv:12); hose damaged, major, found 1 Apr 2026'."""
    said = f"{words.say_capital(words.say_slug(row.kind))} of {words.say_date(row.serviced_on)} by {row.provider}"
    if not row.seen_on:
        return said
    return f"{said} ({row.serviced_path}:{row.serviced_line_no}); {words.say_slug(row.what)}, {words.say_slug(row.severity)}, on {words.say_date(row.seen_on)}"


def list_services(con: duckdb.DuckDBPyConnection, context: Context) -> Iterator[Named]:
    """By day of service; what failed cites the record that says so, and names the line of the service."""
    for row in select_rows(con, SERVICES_SQL, day=context.as_of, most=MOST_LINES):
        when = "" if row.period == "all" else f", {row.period}"
        by = "" if row.of_provider == "*" else f": {row.of_provider}"
        yield (
            name_services(row.list, row.period, row.of_provider),
            f"{TITLES[row.list]}{when}{by}",
            make_entry(row, say_service(row)),
        )
