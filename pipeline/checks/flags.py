"""Doubtful rows: loaded, counted, and named. In: the records, spans and figures. Out: intake.flag."""

from __future__ import annotations

import tomllib
from datetime import date
from importlib.resources import files

import duckdb


def flag_rules() -> dict[str, dict]:
    """Every flag by its slug: title and sentence."""
    return tomllib.loads(files("pipeline.checks").joinpath("flags.toml").read_text(encoding="utf-8"))


def flag_doubts(con: duckdb.DuckDBPyConnection, as_of: date) -> None:
    """Fill intake.flag, in a stable order, each doubt with its sentence."""
    sql = files("pipeline.checks").joinpath("flags.sql").read_text(encoding="utf-8").rstrip().rstrip(";")
    con.execute(f"create temp table doubt as {sql}", {"as_of": as_of})
    con.execute("create temp table flag_text (rule varchar, reason varchar)")
    con.executemany("insert into flag_text values (?, ?)", [[slug, rule["reason"]] for slug, rule in flag_rules().items()])
    con.execute(
        "insert into intake.flag select file_id, record_no, line_no, table_name, rule, column_name, value, "
        "replace(reason, '{value}', coalesce(value, '')) from doubt join flag_text using (rule) "
        "order by rule, table_name, file_id, record_no, value"
    )
    con.execute("drop table doubt")
    con.execute("drop table flag_text")
