"""Spans, and what fell due of them, are made slice by slice: of many slices they are those of one."""

from __future__ import annotations

from datetime import date

import duckdb
import pytest

from pipeline.duties import build as duties
from pipeline.duties import slices
from pipeline.figures import build as figures
from pipeline.run import RunOptions, run
from tests.simulator.write_canonical import write_canonical

SLICED = ("duty.span", "figure.due_service")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("sliced") / "fleet"
    write_canonical(folder, vessels=7, years=3, units=10, seed=20261128)
    return folder


def make_sliced(folder, place, rows: int, monkeypatch) -> tuple[dict[str, list[tuple]], list[list[dict]]]:
    """The tables in their order, and the slices that each was made of."""
    found = []

    def note(con, table):
        found.append(slices.slice_subjects(con, table))
        return found[-1]

    with monkeypatch.context() as patch:
        patch.setattr(slices, "ROWS_AT_ONCE", rows)
        for module in (duties, figures):
            patch.setattr(module, "slice_subjects", note)
        run(RunOptions((folder,), place / "store", place / f"{rows}.duckdb", date(2026, 10, 31)))
    with duckdb.connect(str(place / f"{rows}.duckdb"), read_only=True) as con:
        subjects = con.execute("select count(*) from duty.subject").fetchone()[0]
        assert all(parts[0]["first"] == 1 and parts[-1]["last"] == subjects for parts in found)
        return {table: con.execute(f"from {table}").fetchall() for table in SLICED}, found


def test_many_slices_make_what_one_makes(folder, tmp_path, monkeypatch):
    whole, one = make_sliced(folder, tmp_path, 1_000_000, monkeypatch)
    sliced, many = make_sliced(folder, tmp_path, 300, monkeypatch)
    assert [len(parts) for parts in one] == [1, 1]
    assert all(len(rows) > 1500 for rows in whole.values())
    for parts in many:
        assert len(parts) >= 5
        assert [part["first"] for part in parts[1:]] == [part["last"] + 1 for part in parts[:-1]]
    assert sliced == whole
