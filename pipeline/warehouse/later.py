"""What later files say of earlier ones: quarantined rows they answer, rows they leave out.

In: `row_key` and the staged files, once all tables are loaded. Out: intake.quarantine.superseded_by and doubts in intake.flag.
"""

from __future__ import annotations

import duckdb

from pipeline.checks.flags import add_flags
from pipeline.statements import read_sql


def compare_later_files(con: duckdb.DuckDBPyConnection) -> None:
    """Mark answered rows and flag left-out ones."""
    con.execute(read_sql("pipeline.warehouse", "restating"))
    con.execute(read_sql("pipeline.warehouse", "answered"))
    add_flags(con, read_sql("pipeline.warehouse", "left_out"))
    for name in ("restating", "dumped", "answered_row", "answered"):
        con.execute(f"drop table {name}")
