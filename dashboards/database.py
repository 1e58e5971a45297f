"""The only door to the pipeline's work: the finished DuckDB file, opened for reading.

In: the path of the database. Out: a connection, rows as named tuples, and the context of the run.
Errors: `no-database`, `database-busy`, `not-our-database` (pipeline/errors.toml).
"""

from __future__ import annotations

from collections import namedtuple
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from functools import partial
from itertools import groupby
from pathlib import Path
from typing import Any

import duckdb

from dashboards import words
from dashboards.blocks import Context, Vessel
from dashboards.rule_book import Rule, RuleBook
from pipeline.errors import UserError

# Nothing that a query names may make duckdb fetch or load an extension.
CONFIG: dict[str, str | bool | int | float | list[str]] = {
    "autoinstall_known_extensions": "false",
    "autoload_known_extensions": "false",
}
# How duckdb words a file that another process holds, here and on Windows.
BUSY = ("lock", "being used by another process")
RULES_SQL = """
    SELECT rule_id, duty, title, counts, interval_months, certainty, coalesce(in_any, false) AS in_any
    FROM duty.rule ORDER BY duty, rank, rule_id"""
VESSELS_SQL = """
    SELECT imo_number, vessel_name, vessel_type, flag,
        coalesce(laid_up_from <= $day AND (laid_up_to IS NULL OR laid_up_to > $day), false) AS is_laid_up
    FROM record.vessel
    WHERE (joined_on IS NULL OR joined_on <= $day) AND (left_on IS NULL OR left_on > $day)
    ORDER BY vessel_name, imo_number"""


@contextmanager
def open_database(path: Path) -> Iterator[duckdb.DuckDBPyConnection]:
    """Open the file read-only; a file that is missing, held or foreign becomes a sentence."""
    if not path.is_file():
        raise UserError("no-database", db=path)
    try:
        con = duckdb.connect(str(path), read_only=True, config=CONFIG)
    except duckdb.IOException as error:
        if any(word in str(error).lower() for word in BUSY):
            raise UserError("database-busy", db=path, holder="a process that writes to it") from error
        raise UserError("not-our-database", db=path) from error
    try:
        yield con
    finally:
        con.close()


def select_rows(con: duckdb.DuckDBPyConnection, sql: str, **values: object) -> list[Any]:
    """Run one query and return its rows as named tuples, in the query's own order."""
    cursor = con.execute(sql, values) if values else con.execute(sql)
    row_type: Any = namedtuple("Row", [column[0] for column in cursor.description])  # type: ignore[misc]
    return list(map(partial(tuple.__new__, row_type), cursor.fetchall()))  # as row_type(*row), at half its time


def group_rows(rows: Iterable[Any], column: str) -> dict[Any, list[Any]]:
    """Group rows that come ordered by `column`."""
    return {key: list(group) for key, group in groupby(rows, key=lambda row: getattr(row, column))}


def read_context(con: duckdb.DuckDBPyConnection, path: Path) -> Context:
    """The run's dates and the vessels that are in the fleet on the day, by name."""
    try:
        run = select_rows(con, "SELECT as_of, known_at, version, rule_book_hash FROM intake.run ORDER BY run_id DESC LIMIT 1")
    except duckdb.CatalogException as error:
        raise UserError("not-our-database", db=path) from error
    if not run:
        raise UserError("not-our-database", db=path)
    as_of = run[0].as_of
    vessels = tuple(
        Vessel(
            r.imo_number,
            words.cut_name(r.vessel_name or f"IMO {r.imo_number}", words.MOST_NAME),
            words.cut_name(r.vessel_type or "", words.MOST_NAME),
            r.flag or "",
            r.is_laid_up,
        )
        for r in select_rows(con, VESSELS_SQL, day=as_of)
    )
    files = select_rows(con, "SELECT count(*) AS files FROM intake.file")[0].files
    by_imo = {vessel.imo_number: vessel for vessel in vessels}
    book = RuleBook(tuple(Rule(*row) for row in select_rows(con, RULES_SQL)))
    joins = select_rows(con, "SELECT min(joined_on) AS first_on FROM record.vessel WHERE joined_on > $day", day=as_of)
    return Context(as_of, run[0].known_at, run[0].version, run[0].rule_book_hash, files, vessels, by_imo, book, joins[0].first_on)
