"""The data of the Data quality page.

In: schema intake, figure.freshness. Out: `QualityData`. A quarantined record is open until a later file answers each of its rows.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import duckdb

from dashboards.database import select_rows

FILES_SQL = """
    WITH open_record AS (
        SELECT file_id, count(DISTINCT record_no) AS records_open FROM intake.quarantine WHERE superseded_by IS NULL GROUP BY file_id)
    SELECT path, dialect, received_at::DATE AS received_on, rows_read, rows_loaded, rows_quarantined, rows_duplicate, lines_skipped,
        coalesce(records_open, 0) AS records_open
    FROM intake.file LEFT JOIN open_record USING (file_id) ORDER BY path, received_at, file_id"""


CHECKS_SQL = """
    SELECT table_name, column_name, rule, title, rows_checked, rows_failing FROM intake.check_result
    ORDER BY rows_failing DESC, table_name, column_name, rule, title"""


RULES_SQL = """
    SELECT rule, count(*) AS rows, count(DISTINCT file_id) AS files FROM {table} WHERE {which}
    GROUP BY rule ORDER BY rows DESC, rule"""


ROWS_SQL = """
    SELECT f.path, q.line_no, q.record_no, q.table_name, q.rule, q.column_name, q.value, q.reason
    FROM {table} AS q LEFT JOIN intake.file AS f USING (file_id) WHERE {which}
    ORDER BY f.path, q.line_no, q.record_no, q.table_name, q.rule, q.column_name, q.value, q.reason"""


ANSWERED_SQL = """
    SELECT f.path, q.line_no, q.record_no, q.table_name, q.rule, q.column_name, q.value,
        coalesce(later.path, declared.path) AS answered_by, coalesce(later.received_at::DATE, declared.declared_on) AS answered_on
    FROM intake.quarantine AS q LEFT JOIN intake.file AS f USING (file_id)
    LEFT JOIN intake.file AS later ON later.file_id = q.superseded_by
    LEFT JOIN (SELECT file_id, record_no, any_value(declared_in) AS path, any_value(declared_on) AS declared_on
        FROM intake.correction WHERE column_name = '(record)' GROUP BY ALL) AS declared
        ON declared.file_id = q.file_id AND declared.record_no = q.record_no
    WHERE q.superseded_by IS NOT NULL
    ORDER BY f.path, q.line_no, q.record_no, q.table_name, q.rule, q.column_name, q.value"""


# A record is what goes back to its sender: it is open while any of its rows is.
RECORDS_SQL = """
    SELECT count(*) AS records, count(*) FILTER (is_open) AS open
    FROM (SELECT bool_or(superseded_by IS NULL) AS is_open FROM intake.quarantine GROUP BY file_id, record_no)"""


SOURCES_SQL = """
    SELECT split_part(f.path, '/', 1) AS folder, f.dialect, count(DISTINCT (q.file_id, q.record_no)) AS records,
        count(DISTINCT q.file_id) AS files, min(f.received_at)::DATE AS oldest_on, max(f.received_at)::DATE AS latest_on
    FROM intake.quarantine AS q JOIN intake.file AS f USING (file_id) WHERE q.superseded_by IS NULL
    GROUP BY ALL ORDER BY min(f.received_at), folder, f.dialect"""


CORRECTIONS_SQL = """
    SELECT f.path, c.record_no, c.column_name, c.from_value, c.to_value, c.why, c.who, c.declared_on, c.declared_in,
        c.declared_record_no
    FROM intake.correction AS c LEFT JOIN intake.file AS f USING (file_id)
    ORDER BY f.path, c.record_no, c.column_name, c.declared_in, c.declared_record_no"""


WITHDRAWN_SQL = """
    SELECT path, version, received_at::DATE AS received_on, withdrawn_at::DATE AS withdrawn_on, why, sha256
    FROM intake.withdrawn ORDER BY path, version, withdrawn_at, sha256"""


FRESH_SQL = """
    SELECT imo_number, last_record_on, days_since, coalesce(is_quiet, false) AS is_quiet, quiet_after_days
    FROM figure.freshness ORDER BY days_since DESC NULLS FIRST, imo_number"""


@dataclass(frozen=True)
class QualityData:
    """What the page shows; `quarantined` and `quarantine_rules` are the open ones, `records` counts both kinds."""

    files: list
    checks: list
    quarantined: list
    quarantine_rules: list
    answered: list
    records: Any
    sources: list
    corrections: list
    withdrawn: list
    flagged: list
    flag_rules: list
    fresh: list


def read_quality(con: duckdb.DuckDBPyConnection) -> QualityData:
    """Everything that intake wrote down."""
    bad = {"table": "intake.quarantine", "which": "superseded_by IS NULL"}
    doubtful = {"table": "intake.flag", "which": "true"}
    return QualityData(
        select_rows(con, FILES_SQL),
        select_rows(con, CHECKS_SQL),
        select_rows(con, ROWS_SQL.format(**bad | {"which": "q.superseded_by IS NULL"})),
        select_rows(con, RULES_SQL.format(**bad)),
        select_rows(con, ANSWERED_SQL),
        select_rows(con, RECORDS_SQL)[0],
        select_rows(con, SOURCES_SQL),
        select_rows(con, CORRECTIONS_SQL),
        select_rows(con, WITHDRAWN_SQL),
        select_rows(con, ROWS_SQL.format(**doubtful)),
        select_rows(con, RULES_SQL.format(**doubtful)),
        select_rows(con, FRESH_SQL),
    )
