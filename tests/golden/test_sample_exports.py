"""The demo: counts known beforehand, nothing lost, the same twice, in any order of files, in small pages."""

from __future__ import annotations

import csv
import shutil
from dataclasses import replace
from datetime import date
from pathlib import Path
from types import SimpleNamespace

import pytest

from pipeline.errors import UserError
from pipeline.run import RunOptions, run
from pipeline.warehouse.build import CONNECTION
from tests.golden.conftest import AS_OF, SAMPLES, figure_rows, run_samples, site_bytes

COUNTS = ("rows_read", "rows_loaded", "rows_quarantined", "rows_duplicate")


def read_expected(name: str) -> list[dict[str, str]]:
    with open(SAMPLES / name, encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def test_every_file_gives_the_counts_known_beforehand(con):
    expected = {row["path"]: tuple(int(row[name]) for name in COUNTS) for row in read_expected("expected_counts.csv")}
    rows = con.execute(f"select path, {', '.join(COUNTS)} from intake.file").fetchall()
    assert {path.split("/", 1)[1]: tuple(counts) for path, *counts in rows} == expected
    assert len(expected) > 30 and all(read == loaded + bad + twice for read, loaded, bad, twice in expected.values())


def test_every_row_in_quarantine_is_there_for_the_reason_known_beforehand(con):
    expected = {
        (row["path"], row["table_name"], row["rule"]): int(row["rows"]) for row in read_expected("expected_quarantine.csv")
    }
    rows = con.execute(
        "select path, table_name, rule, count(distinct record_no) from intake.quarantine join intake.file using (file_id) group by all"
    ).fetchall()
    assert {(path.split("/", 1)[1], table, rule): count for path, table, rule, count in rows} == expected


def test_quarantined_rows_carry_a_sentence_and_the_record_as_it_came(con):
    rows = con.execute("select reason, raw, line_no from intake.quarantine").fetchall()
    assert rows and all(reason.endswith(".") and raw and raw.startswith("{") and line_no > 1 for reason, raw, line_no in rows)


def test_every_check_of_great_expectations_agrees_with_the_quarantine(con):
    reported = con.execute(
        "select table_name, rule, column_name, rows_failing from intake.check_result where rows_failing > 0 order by all"
    ).fetchall()
    found = con.execute(
        "select table_name, rule, column_name, count(*) from intake.quarantine where column_name is not null group by all order by all"
    ).fetchall()
    assert reported == found
    assert con.execute("select count(*) from intake.check_result where rows_checked > 0").fetchone()[0] > 100


def test_a_second_run_changes_nothing(demo, tmp_path):
    before, pages = figure_rows(demo.db), site_bytes(demo.site)
    again = run_samples(Path(shutil.copytree(demo.workdir, tmp_path / "work")))
    assert again.summary == demo.summary
    assert figure_rows(again.db) == before
    assert site_bytes(again.site) == pages


def copy_backwards(copy: Path) -> Path:
    """A copy whose files are made in the opposite order, with other times."""
    for path in sorted(SAMPLES.rglob("*"), reverse=True):
        if path.is_file():
            target = copy / path.relative_to(SAMPLES)
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(path, target)
    return copy


def run_in_parts(workdir: Path, copy: Path) -> SimpleNamespace:
    """First the folder without the last year's files, then the whole."""
    late = [path for path in copy.rglob("*2026*") if path.is_file()] + [copy / "canonical/2026/inspection.csv"]
    kept = {path: path.read_bytes() for path in late}
    assert len(kept) > 5
    for path in late:
        path.unlink()
    run(RunOptions((copy,), workdir / "store", workdir / "firekpi.duckdb", AS_OF))
    for path, data in kept.items():
        path.write_bytes(data)
    return run_samples(workdir, copy)


def test_neither_order_nor_parts_nor_threads_change_anything(demo, tmp_path, monkeypatch):
    """All three at once; each by itself is a slow test, which tells where a difference comes from."""
    monkeypatch.setitem(CONNECTION, "threads", "1")
    other = run_in_parts(tmp_path / "work", copy_backwards(tmp_path / "sample_exports"))
    assert figure_rows(other.db) == figure_rows(demo.db)
    assert site_bytes(other.site) == site_bytes(demo.site)


@pytest.mark.slow
def test_the_order_of_files_changes_nothing(demo, tmp_path):
    other = run_samples(tmp_path / "work", copy_backwards(tmp_path / "sample_exports"))
    assert figure_rows(other.db) == figure_rows(demo.db)
    assert site_bytes(other.site) == site_bytes(demo.site)


@pytest.mark.slow
def test_the_parts_of_a_folder_may_come_one_after_the_other(demo, tmp_path):
    copy = tmp_path / "sample_exports"
    shutil.copytree(SAMPLES, copy)
    assert figure_rows(run_in_parts(tmp_path / "work", copy).db) == figure_rows(demo.db)


def test_pages_are_light_and_ask_nothing_of_the_outside(demo):
    for path, data in site_bytes(demo.site).items():
        if path.endswith(".html"):
            assert len(data) < 300_000, f"{path} weighs {len(data):,} bytes"
            assert b'src="http' not in data and b"url(http" not in data and b'src="//' not in data, path
    assert sum(path.endswith(".js") and b"plotly" in data[:2000].lower() for path, data in site_bytes(demo.site).items()) == 1


def test_the_summary_says_what_the_database_holds(demo, con):
    summary = demo.summary
    read, loaded, quarantined, duplicate = con.execute(
        f"select {', '.join(f'sum({name})' for name in COUNTS)} from intake.file"
    ).fetchone()
    assert (summary.rows_read, summary.rows_loaded, summary.rows_quarantined, summary.rows_duplicate) == (
        read, loaded, quarantined, duplicate,
    )  # fmt: skip
    assert summary.vessels == 6 and summary.files == con.execute("select count(*) from intake.file").fetchone()[0]
    assert summary.units == con.execute("select count(*) from figure.unit_now where counted = 'in service'").fetchone()[0]
    on_any_duty = con.execute(
        "select count(distinct (imo_number, unit_id)) from figure.overdue_now join (select duty from duty.rule where in_any) using (duty)"
    ).fetchone()[0]
    assert summary.overdue == on_any_duty > 0


@pytest.mark.slow
def test_the_number_of_threads_changes_nothing(demo, tmp_path, monkeypatch):
    monkeypatch.setitem(CONNECTION, "threads", "1")
    other = run_samples(tmp_path)
    assert figure_rows(other.db) == figure_rows(demo.db)
    assert site_bytes(other.site) == site_bytes(demo.site)


def test_a_run_whose_pages_fail_publishes_nothing(exports, small_fleet, tmp_path):
    """Database, ledger and pages stay as they were: the pages are prepared before anything is replaced."""
    folder = exports(small_fleet)
    options = RunOptions((folder,), tmp_path / "store", tmp_path / "firekpi.duckdb", AS_OF)
    run(options)
    before = {path: path.read_bytes() for path in (options.db, tmp_path / "store" / "received.json")}

    def fail(db):
        raise UserError("cannot-write", path=db, why="the disk is full")

    with pytest.raises(UserError, match="disk is full"):
        run(replace(options, as_of=date(2026, 9, 30)), write_pages=fail)
    assert {path: path.read_bytes() for path in before} == before
