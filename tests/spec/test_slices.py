"""Spans are made slice by slice: of many slices they are those of one."""

from __future__ import annotations

from datetime import date

import duckdb
import pytest

from pipeline.duties import build
from pipeline.run import RunOptions, run
from tests.simulator.write_canonical import write_canonical


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("sliced") / "fleet"
    write_canonical(folder, vessels=7, years=3, units=10, seed=20261128)
    return folder


def make_spans(folder, place, events: int, monkeypatch) -> tuple[list[tuple], list[dict]]:
    """duty.span in its order, and the slices that it was made of."""
    found = []

    def note(con):
        found.extend(slice_subjects(con))
        return found

    slice_subjects = build.slice_subjects
    monkeypatch.setattr(build, "EVENTS_AT_ONCE", events)
    monkeypatch.setattr(build, "slice_subjects", note)
    run(RunOptions((folder,), place / "store", place / f"{events}.duckdb", date(2026, 10, 31)))
    monkeypatch.undo()
    with duckdb.connect(str(place / f"{events}.duckdb"), read_only=True) as con:
        subjects = con.execute("select count(*) from duty.subject").fetchone()[0]
        assert found[0]["first"] == 1 and found[-1]["last"] == subjects
        return con.execute("from duty.span").fetchall(), found


def test_many_slices_make_what_one_makes(folder, tmp_path, monkeypatch):
    whole, one = make_spans(folder, tmp_path, 1_000_000, monkeypatch)
    sliced, many = make_spans(folder, tmp_path, 300, monkeypatch)
    assert len(one) == 1 and len(many) >= 5 and len(whole) > 2000
    assert [part["first"] for part in many[1:]] == [part["last"] + 1 for part in many[:-1]]
    assert sliced == whole
