"""What speaks of one vessel. In: a database just built, and the files behind it as read. Out: the temporary tables of subject.sql."""

from __future__ import annotations

from collections.abc import Mapping
from importlib.resources import files
from typing import Any

import duckdb

from pipeline import contract
from pipeline.intake.stage import insert_rows
from pipeline.run import ParsedFile
from pipeline.statements import run_sql


def mark_subject(con: duckdb.DuckDBPyConnection, read: list[ParsedFile], imo_number: str) -> None:
    """Make pack_received, pack_unit, pack_vessel, pack_row, pack_rule, pack_file and pack_refused in that connection."""
    con.execute(
        "create or replace temp table pack_received (file_id text, table_name text, record_no bigint, imo_number text, unit_id text)"
    )
    con.execute("create or replace temp table pack_feed (file_id text, table_name text, filename text)")
    feeds = [(file.file_id, table, str(path)) for file, _, parsed in read for table, path, _ in parsed.feeds]
    insert_rows(con, "pack_feed", feeds)
    for name, table in contract.tables().items():
        paths = sorted({path for _, fed, path in feeds if fed == name})
        if paths:
            unit = "unit_id" if "unit_id" in table.column_names else "null"
            con.execute(
                f"insert into pack_received select feed.file_id, table_name, record_no, imo_number, {unit} "
                "from read_parquet($paths, filename = true) join pack_feed as feed using (filename) "
                f"where table_name = $name and (imo_number is not null or {unit} is not null)",
                {"paths": paths, "name": name},
            )
    run_file(con, "subject.sql", {"imo_number": imo_number})


def run_file(con: duckdb.DuckDBPyConnection, name: str, parameters: Mapping[str, Any]) -> None:
    """Run a file of statements of this folder, each with those of the parameters that it names."""
    run_sql(con, files("pipeline.evidence").joinpath(name).read_text(encoding="utf-8"), parameters)
