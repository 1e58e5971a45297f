"""Bad rows out, with reasons; every check counted twice and compared.

In: `stage_<table>` and its checks. Out: rows in intake.quarantine and intake.check_result, and the table
`failed_<table>` (row_no) of rows that must not be loaded.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from itertools import islice

import duckdb

from pipeline.checks.context import context_sql, key_order, readable_key_sql
from pipeline.checks.predicates import Check, reader_reason, table_checks
from pipeline.contract import Table
from pipeline.errors import UserError
from pipeline.intake.plain import read_raw
from pipeline.intake.stage import ROWS_AT_ONCE, insert_rows, stage_table
from pipeline.intake.store import Store

# A cell may be a million characters long: `raw` holds it whole, the sentence its beginning.
LONGEST_VALUE, LONGEST_SAID = 2_000, 200
Counter = Callable[[duckdb.DuckDBPyConnection, str, list[Check]], list[int]]


def check_table(con: duckdb.DuckDBPyConnection, table: Table, count_failing: Counter) -> None:
    """Stage one table, quarantine its bad rows, and hold great-expectations' counts against the quarantine.

    Raises UserError check-crashed or checks-disagree.
    """
    stage_table(con, table, context_sql(table), readable_key_sql(table, "row_of_file"), key_order(table))
    checks = table_checks(table)
    checked = con.execute(f"select count(*) from stage_{table.name}").fetchone()[0]
    if not checked:  # a third of a second a table, most of it great-expectations', to count nothing
        insert_rows(con, "intake.check_result", [(table.name, check.rule, check.column, check.title, 0, 0) for check in checks])
        con.execute(f"create or replace table failed_{table.name} (row_no bigint)")
        return
    _find_failing(con, table, checks)
    quarantined = dict(con.execute(f"select check_no, count(*) from failed_check_{table.name} group by check_no").fetchall())
    if quarantined:
        _quarantine_rows(con, table, checks)
    counts = count_failing(con, f"stage_{table.name}", checks)
    results = []
    for number, (check, reported) in enumerate(zip(checks, counts, strict=True)):
        found = quarantined.get(number, 0)
        if found != reported:
            raise UserError(
                "checks-disagree",
                check=f"{check.rule} of {check.column}",
                table=table.name,
                reported=reported,
                quarantined=found,
            )
        results.append((table.name, check.rule, check.column, check.title, checked, found))
    insert_rows(con, "intake.check_result", results)
    con.execute(f"create or replace table failed_{table.name} as select distinct row_no from failed_check_{table.name}")
    con.execute(f"drop table failed_check_{table.name}")


def _find_failing(con, table: Table, checks: list[Check]) -> None:
    """One pass over the rows: `failed_check_<table>` has a row for each row and check that fails."""
    failing = ", ".join(f"case when {check.failing_sql} then {number} end" for number, check in enumerate(checks))
    any_failing = " or ".join(check.failing_sql for check in checks)
    con.execute(
        f"create or replace table failed_check_{table.name} as "
        f"select row_no, unnest(list_filter([{failing}], lambda number: number is not null)) as check_no "
        f"from stage_{table.name} where {any_failing}"
    )


def _quarantine_rows(con, table: Table, checks: list[Check]) -> None:
    """Add the failing rows to intake.quarantine with the cell and the sentence; `raw` is filled in at the end."""
    con.execute("create or replace temp table check_text (check_no integer, rule varchar, column_name varchar, reason varchar)")
    insert_rows(con, "check_text", [(number, check.rule, check.column, check.reason) for number, check in enumerate(checks)])
    values = " ".join(f"when {number} then {check.value_sql}" for number, check in enumerate(checks))
    con.execute(
        f"""
        insert into intake.quarantine
        select file.file_id, record_no, line_no, '{table.name}', rule, column_name, left(value, {LONGEST_VALUE}),
            replace(reason, '{{value}}', coalesce(case when length(value) > {LONGEST_SAID} then left(value, {LONGEST_SAID}) || '…' else value end, '')),
            null, null
        from (select failed.check_no, case failed.check_no {values} end as value, stage.file_no, record_no, line_no
            from failed_check_{table.name} as failed
            join stage_{table.name} as stage using (row_no))
        join check_text using (check_no) join stage_file as file using (file_no)"""
    )


def quarantine_broken(con: duckdb.DuckDBPyConnection) -> None:
    """Add the records that are no rows (ragged, unclosed quote, no table) to intake.quarantine."""
    rows = con.execute(
        "select file_id, record_no, line_no, table_name, rule, value from stage_broken "
        "join stage_file using (file_no) order by file_no, record_no"
    ).fetchall()
    con.execute("create temp table broken_row as select * from intake.quarantine limit 0")
    insert_rows(
        con,
        "broken_row",
        [(*row[:5], None, row[5], reader_reason(row[4], _begin(row[5])), None, None) for row in rows],
    )
    con.execute("insert into intake.quarantine select * from broken_row")
    con.execute("drop table broken_row")


def _begin(text: str) -> str:
    return text if len(text) <= LONGEST_SAID else f"{text[:LONGEST_SAID]}…"


def fill_raw(con: duckdb.DuckDBPyConnection, parsed: list, store: Store) -> None:
    """Fill intake.quarantine.raw: each quarantined record as JSON in its source's own columns, read again from the store."""
    wanted: dict[str, dict[int, int]] = {}
    for file_id, record_no, line_no in con.execute(
        "select distinct file_id, record_no, line_no from intake.quarantine"
    ).fetchall():
        wanted.setdefault(file_id, {})[record_no] = line_no
    con.execute("create temp table raw_record (file_id varchar, record_no bigint, raw varchar)")
    for file, dialect, _ in parsed:
        if file.file_id in wanted:
            raw = read_raw(store.open_file(file), dialect, file.path, wanted[file.file_id])
            rows = ((file.file_id, number, json.dumps(cells, ensure_ascii=False)) for number, cells in raw)
            while batch := list(islice(rows, ROWS_AT_ONCE)):
                insert_rows(con, "raw_record", batch)
    con.execute(
        "update intake.quarantine as q set raw = raw_record.raw from raw_record "
        "where raw_record.file_id = q.file_id and raw_record.record_no = q.record_no"
    )
    con.execute("drop table raw_record")
