"""Packs of the sample fleet: what is enclosed gives the same figures again, for every vessel and for several days."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path

import pytest

from pipeline.evidence.pack import PackOptions, make_pack
from pipeline.evidence.rebuild import PACKED
from pipeline.evidence.verify import verify_pack
from pipeline.run import RunOptions, run

SAMPLE = Path(__file__).parent.parent.parent / "sample_exports"
VESSELS = ("0001016", "0001028", "0001030", "0001042", "0001054", "0001066")
DAYS = ((date(2022, 3, 1), datetime(2022, 4, 1)), (date(2024, 6, 30), datetime(2024, 12, 1)), (date(2026, 10, 31), None))


@pytest.fixture(scope="module")
def sample_store(tmp_path_factory) -> Path:
    place = tmp_path_factory.mktemp("sample")
    run(RunOptions((SAMPLE,), place / "store", place / "x.duckdb", DAYS[-1][0], figures=PACKED))
    return place / "store"


@pytest.mark.slow
@pytest.mark.parametrize("imo_number", VESSELS)
def test_each_vessel_tells_the_same_from_its_own_files(sample_store, tmp_path, imo_number):
    for number, (as_of, known_at) in enumerate(DAYS):
        out = tmp_path / str(number)
        lines = make_pack(PackOptions(imo_number, out, sample_store, as_of, known_at, has_pdf=False))
        assert any("equal those of the whole store" in line for line in lines)
        assert verify_pack(out)[1].startswith("same")
