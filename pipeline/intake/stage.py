"""Parsed files into one staging table a canonical table. In: the parsed files. Out: `stage_file`, `stage_feed`, `stage_broken`, `stage_answer` and `stage_<table>`.

`file_no` is the order in which files count (received_at, then path): a later file restates an earlier one.
"""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path

import duckdb

from pipeline.contract import Table
from pipeline.intake.dialect import Dialect, Feed
from pipeline.intake.parse import Parsed
from pipeline.intake.store import ReceivedFile
from pipeline.statements import read_sql

# Values bound to a statement cost many times their size.
ROWS_AT_ONCE = 20_000
PROBLEM_TYPE = "STRUCT(rule VARCHAR, column_name VARCHAR, value VARCHAR)[]"


def stage_files(con: duckdb.DuckDBPyConnection, read: list[tuple[ReceivedFile, Dialect, Parsed]]) -> None:
    """Write `stage_file` (one row a received file) and `stage_feed` (one row a Parquet file with its table)."""
    con.execute(read_sql("pipeline.intake", "stage"))
    file_rows, feed_rows, broken_rows, answer_rows = [], [], [], []
    for number, (file, dialect, parsed) in enumerate(read):
        received_at = datetime.fromisoformat(file.received_at).replace(tzinfo=None)
        file_rows.append(
            (number, file.file_id, file.path, file.sha256, file.bytes, received_at, date.fromisoformat(file.received_on))
            + (dialect.name, dialect.encoding, dialect.delimiter, parsed.records, parsed.lines_skipped, file.folder)
        )
        feed_rows += [
            (number, table, str(path), rows, None if parsed.is_sheet else feed.full_dump, _matching(feed))
            for feed, (table, path, rows) in zip(dialect.feeds, parsed.feeds, strict=True)
        ]
        answer_rows += [(number, *answer) for answer in parsed.answers]
        table = dialect.feeds[0].table
        broken_rows += [(number, table, b.record_no, b.line_no, b.rule, b.value, b.content) for b in parsed.broken]
    insert_rows(con, "stage_file", file_rows)
    insert_rows(con, "stage_feed", feed_rows)
    insert_rows(con, "stage_broken", broken_rows)
    insert_rows(con, "stage_answer", answer_rows)


def _matching(feed: Feed) -> str | None:
    """What may differ between a unit's number in this feed and in the register, as one text."""
    source = feed.columns.get("unit_id")
    return ",".join(source.match) if source and source.match else None


def insert_rows(con: duckdb.DuckDBPyConnection, table: str, rows: list[tuple]) -> None:
    """Insert many rows at once, a list a column: one statement a row takes a millisecond each."""
    for start in range(0, len(rows), ROWS_AT_ONCE):
        part = rows[start : start + ROWS_AT_ONCE]
        columns = {f"c{number}": list(values) for number, values in enumerate(zip(*part, strict=True))}
        con.execute(f"insert into {table} select {', '.join(f'unnest(${name})' for name in columns)}", columns)


def stage_table(con: duckdb.DuckDBPyConnection, table: Table, context_sql: str, readable_sql: str, order_sql: str) -> None:
    """Create record.<table> of all files' rows: canonical columns, where each row came from, and what the checks need.

    The rows are written once, in the order in which they stay: load.py takes out those that don't belong there and the columns of the
    checks. Until then the view `stage_<table>` shows them with their numbers (row_no).

    `context_sql` selects from `row_of_file` and adds the columns that the checks of this table look at; `readable_sql` says whether a
    row's key can be read whole, `order_sql` by what rows are put in order. Also made: `repeated_<table>`, the hashes of keys that more than one row has: few of many, so that only
    these rows have to be put in order.
    """
    # The same bytes under two names share one Parquet file: it is read once, and the join gives its rows to both.
    sql = "select distinct filename from stage_feed where table_name = $table order by filename"
    paths = [path for (path,) in con.execute(sql, {"table": table.name}).fetchall()]
    columns, key = ", ".join(table.column_names), ", ".join(table.key)
    con.execute(f"create or replace temp view parquet_row as {_rows_sql(table, paths)}")
    con.execute("create or replace temp table parquet_file (file_index ubigint, filename varchar)")
    insert_rows(con, "parquet_file", list(enumerate(paths)))
    con.execute(
        "create or replace temp table feed_file as select file_index, file_no, matching, received_on from parquet_file "
        f"join stage_feed as feed using (filename) join stage_file using (file_no) where feed.table_name = '{table.name}'"
    )
    is_matched = _read_spelling(con, table)
    read_as = "coalesce(spelling.read_as, came.unit_id)" if is_matched else "came.unit_id"
    selected = ", ".join(f"{read_as} as unit_id" if name == "unit_id" else f"came.{name}" for name in table.column_names)
    spelt = "spelling.unit_id || ' read as ' || spelling.read_as" if is_matched else "null::varchar"
    join = "left join spelling on spelling.matching = feed.matching and spelling.unit_id = came.unit_id" if is_matched else ""
    con.execute(
        f"create or replace temp view read_row as select file_no, record_no, line_no, item_no, {selected}, problems, received_on, "
        f"{spelt} as spelt from parquet_row as came join feed_file as feed using (file_index) {join}"
    )
    con.execute(
        f"create or replace table repeated_{table.name} as "
        f"select hash({key}) as key_hash from read_row group by all having count(*) > 1"
    )
    con.execute(
        f"create or replace temp table clash as select file_no, {key} from "
        f"(select *, hash({columns}, problems) as content from (select *, hash({key}) as key_hash from read_row) "
        f"semi join repeated_{table.name} using (key_hash)) as clashing where {readable_sql.replace('row_of_file.', 'clashing.')} "
        f"group by file_no, {key} having min(content) <> max(content)"
    )
    con.execute(
        f"create table record.{table.name} as with row_of_file as (from read_row) "
        f"select {columns}, file_id, record_no, line_no, staged.* exclude ({columns}, record_no, line_no) "
        f"from ({context_sql}) as staged join stage_file using (file_no) order by {order_sql}"
    )
    con.execute(f"create view stage_{table.name} as select rowid as row_no, * from record.{table.name}")
    con.execute("drop view read_row")
    con.execute("drop view parquet_row")
    for name in ("clash", "feed_file", "parquet_file"):
        con.execute(f"drop table {name}")


def _read_spelling(con: duckdb.DuckDBPyConnection, table: Table) -> bool:
    """Make `spelling` for a table whose sources have a rule for units' numbers; whether there is any such source."""
    sql = "select count(*) from stage_feed where table_name = $table and matching is not null"
    if "unit_id" not in table.column_names or not con.execute(sql, {"table": table.name}).fetchone()[0]:
        return False
    is_register = table.name == "unit"
    known = "parquet_row join feed_file using (file_index) where matching is null and unit_id is not null"
    con.execute(
        f"create or replace temp view known_unit as select distinct unit_id from {known if is_register else 'record.unit'}"
    )
    con.execute(read_sql("pipeline.intake", "spelling"), {"is_register": is_register})
    return True


def _rows_sql(table: Table, paths: list[str]) -> str:
    """All Parquet rows of the table, or a typed empty relation where no file gives it."""
    if paths:
        listed = ", ".join("'" + str(Path(path)).replace("'", "''") + "'" for path in paths)
        # hive_partitioning off: a folder called agent=foam on the way would else overwrite the column agent
        return f"select *, file_index from read_parquet([{listed}], hive_partitioning = false)"
    empty = ", ".join(f"null::{column.sql_type} as {column.name}" for column in table.columns)
    return (
        f"select 0::bigint as record_no, 0::bigint as line_no, 0 as item_no, {empty}, "
        f"null::{PROBLEM_TYPE} as problems, 0::ubigint as file_index where false"
    )


def drop_stage(con: duckdb.DuckDBPyConnection) -> None:
    """Leave nothing of the staging in the finished database."""
    for name in ("stage_file", "stage_feed", "stage_broken", "stage_answer", "row_key"):
        con.execute(f"drop table {name}")
