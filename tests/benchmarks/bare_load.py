"""The engine's limit: each table's CSVs as text into a DuckDB database, nothing else. Called as a process: EXPORTS DATABASE."""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

import duckdb

TABLES = ("vessel", "unit", "station", "spare", "inspection", "service", "finding")


def load_bare(exports: Path, db: Path) -> dict:
    """One statement a table, over all of its files. Returns seconds and rows."""
    started = time.perf_counter()
    rows = 0
    with duckdb.connect(str(db)) as con:
        for table in TABLES:
            paths = sorted(str(path) for path in exports.rglob(f"{table}.csv"))
            con.execute(f"create table {table} as select * from read_csv({paths}, all_varchar = true)")
            rows += con.execute(f"select count(*) from {table}").fetchone()[0]
    return {"seconds": time.perf_counter() - started, "rows": rows}


if __name__ == "__main__":
    print(json.dumps(load_bare(Path(sys.argv[1]), Path(sys.argv[2]))))
