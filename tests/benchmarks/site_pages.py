"""The site of a finished database, written whole. Called as a process: DATABASE SITE UNITS ('units', or '' for all pages but theirs)."""

from __future__ import annotations

import json
import shutil
import sys
import time
from pathlib import Path

import duckdb

from dashboards import site as sites
from dashboards.processes import Beside


def write_site(db: Path, site: Path, with_units: bool) -> dict:
    """Seconds, rows (pages written) and vessels of the fleet."""
    if not with_units:
        sites.write_units_beside = lambda db, context, folder, processes: Beside(lambda part: [], [], processes)
    shutil.rmtree(site, ignore_errors=True)
    started = time.perf_counter()
    told = sites.build_site(db, site)
    seconds = time.perf_counter() - started
    with duckdb.connect(str(db), read_only=True) as con:
        vessels = con.execute("select count(*) from record.vessel").fetchone()[0]
    return {"seconds": seconds, "rows": len(told.pages), "vessels": vessels}


if __name__ == "__main__":
    print(json.dumps(write_site(Path(sys.argv[1]), Path(sys.argv[2]), sys.argv[3] == "units")))
