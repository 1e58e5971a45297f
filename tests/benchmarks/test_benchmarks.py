"""The benchmark on two vessels: that it runs, and that what is compared does the same work. No time is asserted."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import duckdb
import pytest

from tests.benchmarks import pandas_overdue, pandas_plain
from tests.benchmarks.measure import measure_fleet, summarize
from tests.benchmarks.overdue_alone import compute_overdue
from tests.benchmarks.show import print_tables, write_chart, write_json

COMPARED = ("onboard_check", "annual_service", "pressure_test", "*")


@pytest.fixture(scope="module")
def bench(tmp_path_factory) -> tuple[dict, Path]:
    """What one repeat on two vessels measured, and the folder of the fleet as it leaves it."""
    work = tmp_path_factory.mktemp("bench")
    measured = measure_fleet(2, work, 1, "1GB", False, keep=True)
    return summarize([measured]), work / "fleet_2"


@pytest.fixture(scope="module")
def place(bench) -> Path:
    return bench[1]


@pytest.fixture(scope="module")
def db(place) -> Path:
    return place / "whole.duckdb"


def read_overdue(con) -> dict:
    """Month-end, vessel and duty to units, overdue, unknown."""
    found = con.execute(
        "select month_end, imo_number, duty, units, overdue, unknown from figure.overdue_monthly where list_contains($duties, duty)",
        {"duties": list(COMPARED)},
    ).fetchall()
    return {row[:3]: row[3:] for row in found}


@pytest.mark.parametrize("script", [pandas_plain, pandas_overdue])
def test_pandas_counts_what_the_run_counts(place, db, script):
    table, _ = script.compute_overdue(place / "exports")
    theirs = {
        (row.month_end.date(), row.imo_number, row.duty): (row.units, row.overdue, row.unknown) for row in table.itertuples()
    }
    with duckdb.connect(str(db), read_only=True) as con:
        ours = read_overdue(con)
    assert len(ours) > 1000 and sum(overdue for _, overdue, _ in ours.values()) > 100
    # a vessel that had units in a month and none at its end has no line in one of them
    assert {key: theirs.get(key, (0, 0, 0)) for key in ours} == ours


def test_the_overdue_table_alone_is_that_of_the_run(place, db):
    with duckdb.connect(str(db), read_only=True) as con:
        ours = read_overdue(con)
    with duckdb.connect() as con:
        compute_overdue(con, place / "exports")
        assert read_overdue(con) == ours


def test_every_row_is_read_and_the_blemished_are_put_aside(place, db):
    lines = sum(
        len(path.read_text().splitlines()) - 1 for path in (place / "exports").rglob("*.csv") if path.name != "received.csv"
    )
    with duckdb.connect(str(db), read_only=True) as con:
        read, quarantined, twice = con.execute(
            "select sum(rows_read), sum(rows_quarantined), sum(rows_duplicate) from intake.file"
        ).fetchone()
    assert read == lines and 0 < quarantined < lines / 100 and 0 < twice < lines / 100


def test_a_month_more_is_the_last_month(place):
    for path in (place / "month").rglob("*.csv"):
        with path.open(newline="") as stream:
            days = [
                max(row.get(name) or "" for name in ("inspected_on", "serviced_on", "found_on", "closed_on"))
                for row in csv.DictReader(stream)
            ]
        assert days and all(day >= "2026-10-01" or day in ("2025-02-30", "31.04.2025") for day in days)


def test_the_benchmark_runs_through(bench, tmp_path, capsys):
    print_tables(bench[0])
    write_json(bench[0], tmp_path / "bench.json")
    write_chart(bench[0], tmp_path / "bench.svg")
    told = json.loads((tmp_path / "bench.json").read_text())["fleets"][0]
    assert set(told["medians"]) == {
        "bare load", "plain pandas", "tuned pandas", "overdue alone", "whole run", "pages but units'", "whole site", "a month more",
    }  # fmt: skip
    assert told["pages"]["unit_pages"] > 100
    assert told["medians"]["whole site"]["rows"] == told["medians"]["pages but units'"]["rows"] + told["pages"]["unit_pages"]
    assert told["medians"]["a month more"]["rows"] > told["medians"]["whole run"]["rows"] > 10_000
    assert "whole run" in (tmp_path / "bench.svg").read_text() and "2 vessels" in capsys.readouterr().out
