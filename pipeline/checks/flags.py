"""Doubtful rows: loaded, counted, and named. In: queries for doubts, here and in later rooms. Out: intake.flag."""

from __future__ import annotations

import tomllib
from importlib.resources import files

import duckdb

from pipeline.statements import DUCKDB, Statements, read_sql


def flag_rules() -> dict[str, dict]:
    """Every flag by its slug: title and sentence."""
    return tomllib.loads(files("pipeline.checks").joinpath("flags.toml").read_text(encoding="utf-8"))


def flag_records(con: duckdb.DuckDBPyConnection) -> None:
    """Flag what is doubtful in the records themselves."""
    add_flags(con, read_sql("pipeline.checks", "flags"))


def add_flags(con: duckdb.DuckDBPyConnection, sql: str, statements: Statements = DUCKDB) -> None:
    """Add the doubts that `sql` selects (rule, table_name, file_id, record_no, line_no, column_name, value) to intake.flag.

    KeyError if a rule is not in flags.toml.
    """
    statements.run(con, f"create or replace temp table doubt as {sql.strip().rstrip(';')}")
    rules = flag_rules()
    for (slug,) in con.execute("select distinct rule from doubt order by rule").fetchall():
        con.execute(
            "insert into intake.flag select file_id, record_no, line_no, table_name, rule, column_name, value, "
            "replace($reason, '{value}', coalesce(value, '')) from doubt where rule = $slug "
            "order by table_name, file_id, record_no, value",
            {"reason": rules[slug]["reason"], "slug": slug},
        )
    con.execute("drop table doubt")
