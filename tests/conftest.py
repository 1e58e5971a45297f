"""Folders of exports made on the spot, and runs of the real pipeline on them."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import duckdb
import pytest

from pipeline.checks import gx_duckdb
from pipeline.checks.predicates import Check
from pipeline.figures import build as build_of_figures
from pipeline.run import RunOptions, run
from pipeline.warehouse.build import CONNECTION
from pipeline.warehouse.summary import Summary

AS_OF = date(2026, 5, 10)
# Valid check digits in a range that, as far as we know, is given to no ship.
VESSEL_A, VESSEL_B = "9999993", "9999981"


def pytest_make_parametrize_id(val):
    """Name bytes by their number: workers that collect one second apart must agree on every name, and gzip writes the time."""
    return f"{len(val)}bytes" if isinstance(val, bytes) else None


# Tests of how files are read, kept and answered ask for no figure but those of the summary.
FILES_TRIED_IN = (
    "test_revision", "test_dialects", "test_archives", "test_learn", "test_damage", "test_overlap",
    "test_row_accounting", "test_csv_facts", "test_dialect_round_trip",
)  # fmt: skip
SUMMED_UP = ("count_interval", "overdue_monthly", "duty_now", "unit_now", "freshness")
# Where the checks themselves are tried, great-expectations counts as in every run; so it does in all runs of the command itself.
count_truly = gx_duckdb.count_failing
CHECKS_TRIED_IN = ("test_bad_input", "test_row_accounting", "test_damage", "test_csv_facts", "test_archives", "test_corrections")


@pytest.fixture(scope="module", autouse=True)
def light_runs(request):
    """One thread a worker, and in tests of rules and figures the second count of failing rows in plain SQL.

    A run of a few rows is then a third shorter, and there are several hundred. Golden tests run as users do.
    """
    folder, module = request.path.parent.name, request.path.stem
    with pytest.MonkeyPatch.context() as patch:
        if folder != "golden":
            patch.setitem(CONNECTION, "threads", "1")
        if folder in ("spec", "published", "property", "evidence") and module not in CHECKS_TRIED_IN:
            patch.setattr(gx_duckdb, "count_failing", count_plainly)
        if module in FILES_TRIED_IN:
            patch.setattr(build_of_figures, "FIGURES", SUMMED_UP)
        yield


def count_plainly(con: duckdb.DuckDBPyConnection, table_name: str, checks: list[Check], keep=None) -> list[int]:
    """What pipeline.checks.gx_duckdb.count_failing gives, without great-expectations unless its own words are to be kept."""
    if keep:
        return count_truly(con, table_name, checks, keep)
    counts = ", ".join(f"count(*) filter ({check.failing_sql})" for check in checks)
    return list(con.execute(f"select {counts} from {table_name}").fetchone())


def write_folder(folder: Path, texts: dict[str, str | bytes]) -> Path:
    """Write the files of a folder of exports; text is UTF-8, its lines stripped of common indentation."""
    for name, text in texts.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        data = text if isinstance(text, bytes) else "\n".join(line.strip() for line in text.strip().splitlines()).encode() + b"\n"
        path.write_bytes(data)
    return folder


@pytest.fixture
def exports(tmp_path):
    """Call with {file name: text} to get a folder of exports."""
    return lambda texts, name="exports": write_folder(tmp_path / name, texts)


@pytest.fixture
def run_on(tmp_path):
    """Call with folders to run the pipeline; gives (summary, read-only connection)."""
    opened: list[duckdb.DuckDBPyConnection] = []

    def call(*folders: Path, as_of: date = AS_OF, store: str = "store", **more) -> tuple[Summary, duckdb.DuckDBPyConnection]:
        db = tmp_path / f"{store}-{len(opened)}.duckdb"
        summary = run(RunOptions(tuple(folders), tmp_path / store, db, as_of, **more))
        opened.append(duckdb.connect(str(db), read_only=True))
        return summary, opened[-1]

    yield call
    for con in opened:
        con.close()


@pytest.fixture
def small_fleet() -> dict[str, str]:
    """One vessel, two units, three inspections: canonical files without a fault."""
    return {
        "vessel.csv": f"imo_number,vessel_name\n{VESSEL_A},Quiet Heron",
        "unit.csv": f"""unit_id,imo_number,agent,form,charge_kg,made_on,in_service_on
            U1,{VESSEL_A},powder,portable,6,2015-01-31,2016-01-31
            U2,{VESSEL_A},co2,portable,5,2018-06-01,2020-02-01""",
        "inspection.csv": f"""unit_id,imo_number,inspected_on,outcome
            U1,{VESSEL_A},2026-03-31,satisfactory
            U2,{VESSEL_A},2026-03-31,satisfactory
            U1,{VESSEL_A},2026-04-30,satisfactory""",
    }
