"""Parsed files into one staging table a canonical table. In: the parsed files. Out: `stage_file` and `stage_<table>`.

`file_no` is the order in which files count (received_at, then path): a later file restates an earlier one.
"""

from __future__ import annotations

from datetime import date, datetime
from importlib.resources import files
from pathlib import Path

import duckdb

from pipeline.contract import Table
from pipeline.intake.dialect import Dialect
from pipeline.intake.parse import Parsed
from pipeline.intake.store import ReceivedFile

PROBLEM_TYPE = "STRUCT(rule VARCHAR, column_name VARCHAR, value VARCHAR)[]"


def stage_files(con: duckdb.DuckDBPyConnection, read: list[tuple[ReceivedFile, Dialect, Parsed]]) -> None:
    """Write `stage_file` (one row a received file) and `stage_feed` (one row a Parquet file with its table)."""
    con.execute(files("pipeline.intake").joinpath("stage.sql").read_text(encoding="utf-8"))
    file_rows, feed_rows, broken_rows = [], [], []
    for number, (file, dialect, parsed) in enumerate(read):
        received_at = datetime.fromisoformat(file.received_at).replace(tzinfo=None)
        file_rows.append(
            (number, file.file_id, file.path, file.sha256, file.bytes, received_at, date.fromisoformat(file.received_on))
            + (dialect.name, dialect.encoding, dialect.delimiter, parsed.records, parsed.lines_skipped)
        )
        feed_rows += [(number, table, str(path), rows) for table, path, rows in parsed.feeds]
        table = dialect.feeds[0].table
        broken_rows += [(number, table, b.record_no, b.line_no, b.rule, b.value) for b in parsed.broken]
    insert_rows(con, "stage_file", file_rows)
    insert_rows(con, "stage_feed", feed_rows)
    insert_rows(con, "stage_broken", broken_rows)


def insert_rows(con: duckdb.DuckDBPyConnection, table: str, rows: list[tuple]) -> None:
    """Insert many rows at once, a list a column: one statement a row takes a millisecond each."""
    if rows:
        columns = {f"c{number}": list(values) for number, values in enumerate(zip(*rows, strict=True))}
        con.execute(f"insert into {table} select {', '.join(f'unnest(${name})' for name in columns)}", columns)


def stage_table(con: duckdb.DuckDBPyConnection, table: Table, context_sql: str) -> None:
    """Create `stage_<table>` of all files: canonical columns, where each row came from, and what the checks need.

    `context_sql` selects from `row_of_file` and adds the columns that the checks of this table look at.
    """
    # The same bytes under two names share one Parquet file: it is read once, and the join gives its rows to both.
    sql = "select distinct filename from stage_feed where table_name = $table order by filename"
    paths = [path for (path,) in con.execute(sql, {"table": table.name}).fetchall()]
    columns = ", ".join(table.column_names)
    con.execute(f"create or replace temp view parquet_row as {_rows_sql(table, paths)}")
    con.execute(
        f"create or replace table stage_{table.name} as with row_of_file as ("
        f"select feed.file_no, record_no, line_no, item_no, {columns}, problems, hash({columns}, problems) as content, "
        f"file.received_on "
        f"from parquet_row join stage_feed as feed using (filename) join stage_file as file using (file_no)) "
        f"{context_sql}"
    )
    con.execute("drop view parquet_row")


def _rows_sql(table: Table, paths: list[str]) -> str:
    """All Parquet rows of the table, or a typed empty relation where no file gives it."""
    if paths:
        listed = ", ".join("'" + str(Path(path)).replace("'", "''") + "'" for path in paths)
        # hive_partitioning off: a folder called agent=foam on the way would else overwrite the column agent
        return f"select * from read_parquet([{listed}], filename = true, hive_partitioning = false)"
    empty = ", ".join(f"null::{column.sql_type} as {column.name}" for column in table.columns)
    return (
        f"select 0::bigint as record_no, 0::bigint as line_no, 0 as item_no, {empty}, "
        f"null::{PROBLEM_TYPE} as problems, ''::varchar as filename where false"
    )


def drop_stage(con: duckdb.DuckDBPyConnection) -> None:
    """Leave nothing of the staging in the finished database."""
    for name in ("stage_file", "stage_feed", "stage_broken"):
        con.execute(f"drop table {name}")
