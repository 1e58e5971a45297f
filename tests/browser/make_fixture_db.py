"""A small invented database for the page tests, in the shape that the pipeline writes.

In: a path and the size of the fleet. Out: a DuckDB file with every table that the dashboards read. The rows
(fixture_rows.sql) are plausible, not computed from records: tests of the figures live elsewhere.
"""

from __future__ import annotations

from pathlib import Path

import duckdb

HERE = Path(__file__).parent
NAMES = ["Northern Lantern", "Amber Skerry", "Coral Wayfarer", "Grey Petrel", "Holm Strand", "Vela Ridge"]


def make_fixture_db(path: Path, vessels: int = 6, units: int = 45, months: int = 18, names: list[str] | None = None) -> Path:
    """Write the invented database and return its path; vessels=0 makes an empty fleet."""
    names = names or [NAMES[i % 6] + (f" {i // 6 + 1}" if i >= 6 else "") for i in range(max(vessels, 1))]
    with duckdb.connect(str(path)) as con:
        con.execute((HERE / "fixture_schema.sql").read_text(encoding="utf-8"))
        con.execute("CREATE TEMP TABLE fleet_name (no INTEGER, name TEXT)")
        con.executemany("INSERT INTO fleet_name VALUES (?, ?)", list(enumerate(names)))
        for name, value in {"vessels": vessels, "units": units, "months": months}.items():
            con.execute(f"SET VARIABLE {name} = {value:d}")
        con.execute((HERE / "fixture_rows.sql").read_text(encoding="utf-8"))
    return path
