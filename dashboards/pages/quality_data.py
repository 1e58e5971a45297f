"""The data of the Data quality page.

In: schema intake, figure.freshness. Out: `QualityData`.
"""

from __future__ import annotations

from dataclasses import dataclass

import duckdb

from dashboards.database import select_rows

FILES_SQL = """
    SELECT path, dialect, received_at::DATE AS received_on, rows_read, rows_loaded, rows_quarantined, rows_duplicate, lines_skipped,
        superseded_by IS NOT NULL AS is_superseded
    FROM intake.file ORDER BY path, received_at, file_id"""


CHECKS_SQL = """
    SELECT table_name, column_name, rule, title, rows_checked, rows_failing FROM intake.check_result
    ORDER BY rows_failing DESC, table_name, column_name, rule, title"""


RULES_SQL = "SELECT rule, count(*) AS rows, count(DISTINCT file_id) AS files FROM {table} GROUP BY rule ORDER BY rows DESC, rule"


ROWS_SQL = """
    SELECT f.path, q.line_no, q.record_no, q.table_name, q.rule, q.column_name, q.value, q.reason
    FROM {table} AS q LEFT JOIN intake.file AS f USING (file_id)
    ORDER BY f.path, q.line_no, q.record_no, q.table_name, q.rule, q.column_name, q.value, q.reason"""


FRESH_SQL = """
    SELECT imo_number, last_record_on, days_since, coalesce(is_quiet, false) AS is_quiet, quiet_after_days
    FROM figure.freshness ORDER BY days_since DESC NULLS FIRST, imo_number"""


@dataclass(frozen=True)
class QualityData:
    """What the page shows."""

    files: list
    checks: list
    quarantined: list
    quarantine_rules: list
    flagged: list
    flag_rules: list
    fresh: list


def read_quality(con: duckdb.DuckDBPyConnection) -> QualityData:
    """Everything that intake wrote down."""
    bad, doubtful = "intake.quarantine", "intake.flag"
    return QualityData(
        select_rows(con, FILES_SQL),
        select_rows(con, CHECKS_SQL),
        select_rows(con, ROWS_SQL.format(table=bad)),
        select_rows(con, RULES_SQL.format(table=bad)),
        select_rows(con, ROWS_SQL.format(table=doubtful)),
        select_rows(con, RULES_SQL.format(table=doubtful)),
        select_rows(con, FRESH_SQL),
    )
