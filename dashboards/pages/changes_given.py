"""What came and what was declared between two moments, and how tables of that page are made.

In: change.file, change.withdrawal, change.correction. Out: a section of three tables.
"""

from __future__ import annotations

from typing import Any

import duckdb

from dashboards import words
from dashboards.blocks import Section, Table, name_columns
from dashboards.database import select_rows
from dashboards.pages import changes_words

SHOWN = 60  # rows of a table on the page; the CSV holds all
FILES_SQL = "SELECT * FROM change.file ORDER BY received_at, path, version"
WITHDRAWN_SQL = "SELECT * FROM change.withdrawal ORDER BY happened_at, path, version"
CORRECTIONS_SQL = "SELECT * FROM change.correction ORDER BY path, record_no, column_name, what"


def make_table(
    name: str, caption: str, columns: str, rows: list[tuple], empty: str = "Nothing differs.", where: str = "all of them are in"
) -> Table:
    """A table of this page: one CSV for all of them, so none of its own."""
    cut = f"; the first {SHOWN} of {words.say_number(len(rows))} rows, {where} changes.csv" if len(rows) > SHOWN else ""
    return Table(name, caption + cut, name_columns(columns), tuple(rows), empty=empty, shown=SHOWN, has_twin=False)


def tell_given(con: duckdb.DuckDBPyConnection, asked: Any) -> Section:
    files = [
        (
            r.path,
            r.version,
            changes_words.say_moment(r.received_at),
            r.rows_loaded,
            r.rows_quarantined,
            r.rows_duplicate,
            r.withdrawn_why,
        )
        for r in select_rows(con, FILES_SQL)
    ]
    withdrawn = [
        (r.path, r.version, r.what, changes_words.say_moment(r.happened_at), r.why) for r in select_rows(con, WITHDRAWN_SQL)
    ]
    corrections = [
        (
            r.path,
            r.record_no,
            r.column_name,
            r.from_value,
            r.to_value,
            r.what,
            f"{r.why} ({r.who}, {r.declared_on})",
            r.declared_in,
        )
        for r in select_rows(con, CORRECTIONS_SQL)
    ]
    whole = " Files are those of the whole fleet." if asked.vessel else ""
    return Section(
        "given",
        "What came between",
        (
            make_table(
                "files",
                "Files received between the two moments",
                "path=File:path; version=Version:count; at=Received; loaded=Rows loaded:count; set_aside=Kept out:count; "
                "duplicate=Already known:count; withdrawn=Withdrawn since, because",
                files,
                "No file was received between the two moments.",
            ),
            make_table(
                "withdrawn",
                "Files withdrawn, or taken back, between the two moments",
                "path=File:path; version=Version:count; what=What; at=When; why=Why",
                withdrawn,
                "No file was withdrawn or taken back between the two moments.",
            ),
            make_table(
                "corrections",
                "Corrections that hold at one of the two moments only",
                "path=File:path; record=Record:count; column=Column; from=From; to=To; what=What; why=Why; in=Declared in:path",
                corrections,
                "No correction was declared or taken back between the two moments.",
            ),
        ),
        f"Each is a fact with a time; nothing was erased.{whole}",
        is_wide=True,
    )
