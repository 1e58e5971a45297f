"""What later files say of earlier ones: quarantined rows they answer, rows they leave out.

In: `row_key` and the staged files, once all tables are loaded. Out: intake.quarantine.superseded_by and doubts in intake.flag.
"""

from __future__ import annotations

from importlib.resources import files

import duckdb

from pipeline.checks.flags import add_flags


def compare_later_files(con: duckdb.DuckDBPyConnection) -> None:
    """Mark answered rows and flag left-out ones."""
    con.execute(_read_sql("restating.sql"))
    con.execute(_read_sql("answered.sql"))
    add_flags(con, _read_sql("left_out.sql"))
    for name in ("restating", "dumped", "answered_row", "answered"):
        con.execute(f"drop table {name}")


def _read_sql(name: str) -> str:
    return files("pipeline.warehouse").joinpath(name).read_text(encoding="utf-8")
