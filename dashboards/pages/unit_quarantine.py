"""Rows kept out that name a unit, found by what stands in the column that the dialect reads as the unit's number.

In: intake.quarantine with its records as they came, intake.column_source. Out: rows by unit, each with what is wrong and its line.
"""

from __future__ import annotations

import json
from typing import Any

import duckdb

from dashboards.database import select_rows

Row = Any
REFUSED_SQL = """
    SELECT q.table_name, q.rule, q.reason, q.raw, q.superseded_by IS NOT NULL AS is_answered, f.path, q.record_no, q.line_no, s.header, s.constant
    FROM intake.quarantine AS q LEFT JOIN intake.file AS f USING (file_id)
    JOIN (SELECT file_id, table_name, header, constant FROM intake.column_source WHERE column_name = 'unit_id') AS s
        ON s.file_id = q.file_id AND s.table_name = q.table_name
    ORDER BY f.path, q.line_no, q.record_no, q.table_name, q.rule, q.column_name"""


def read_cell(row: Row) -> str | None:
    """The unit's number as the record has it; nothing where the record could not be split."""
    if row.constant is not None:
        return row.constant
    try:
        record = json.loads(row.raw or "null")
    except ValueError:
        return None
    cell = record.get(row.header) if isinstance(record, dict) else None
    return cell.strip() if isinstance(cell, str) else None


def read_named(con: duckdb.DuckDBPyConnection) -> dict[str, list[Row]]:
    """Rows by the number that they name, each reason of a row once."""
    named: dict[str, list[Row]] = {}
    for row in select_rows(con, REFUSED_SQL):
        unit_id = read_cell(row)
        if unit_id:
            named.setdefault(unit_id, []).append(row)
    return named
