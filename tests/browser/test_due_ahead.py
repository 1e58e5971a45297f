"""The lists of what falls due, by day, and what the pages say where no inspection or service came; on invented rows."""

from __future__ import annotations

from pathlib import Path

import duckdb
import pytest

from dashboards.site import build_site
from tests.browser.make_fixture_db import make_fixture_db
from tests.browser.read_site import read_page, read_twin
from tests.browser.test_sentences import read_answer

DAYS = (0, 30, 31, 60, 61, 90, 91)
FIRST, SECOND = "9000003", "9000376"
SAID = "No inspection or service record was received"


def build_changed(folder: Path, *statements: str) -> Path:
    """The site of two invented vessels after these statements."""
    db = make_fixture_db(folder / "a.duckdb", vessels=2, units=8, months=3)
    with duckdb.connect(str(db)) as con:
        for statement in statements:
            con.execute(statement)
    build_site(db, folder / "site")
    return folder / "site"


def read_ahead(twin: Path) -> dict[str, tuple[int, int, int]]:
    return {r["duty"]: tuple(int(r[f"in_{n}_days"]) for n in (30, 60, 90)) for r in read_twin(twin)}


def test_days_30_60_and_90_are_the_last_of_their_columns(tmp_path):
    due = ", ".join(f"('{FIRST}', 'U-{n}', false, 'annual_service', 'annual', date '2026-10-31' + {n}, 'in time')" for n in DAYS)
    site = build_changed(
        tmp_path,
        "delete from figure.duty_now",
        f"insert into figure.duty_now (imo_number, unit_id, is_group, duty, rule_id, due_on, state) values {due}",
    )
    nothing = (0, 0, 0)
    expected = {"Onboard check": nothing, "Annual service": (2, 4, 6), "Pressure test": nothing, "Sample discharge": nothing}
    assert read_ahead(site / "data/fleet-ahead.csv") == expected
    assert read_ahead(site / f"data/vessel/{FIRST}-ahead.csv") == expected
    assert read_ahead(site / f"data/vessel/{SECOND}-ahead.csv") == dict.fromkeys(expected, nothing)
    listed = {row[2] for row in read_page(site / f"vessel/{FIRST}.html").tables["due"][1:]}
    assert listed == {f"U-{n}" for n in DAYS if n <= 90}


def read_openings(site: Path) -> dict[str, str]:
    return {name: read_answer(site / f"{name}.html") for name in ("index", "overdue", f"vessel/{FIRST}", f"vessel/{SECOND}")}


def test_no_record_at_all_is_said_on_every_opening(tmp_path):
    said = read_openings(build_changed(tmp_path, "delete from record.service"))
    for page, opening in said.items():
        assert opening.endswith(f"{SAID}: overdue here means that nothing is on record."), page


def test_one_vessel_without_records_is_named(tmp_path):
    said = read_openings(build_changed(tmp_path, f"delete from record.service where imo_number = '{FIRST}'"))
    assert said[f"vessel/{FIRST}"].endswith(f"{SAID}: overdue here means that nothing is on record.")
    for page in ("index", "overdue"):
        assert said[page].endswith(f"{SAID} for Northern Lantern: overdue there means that nothing is on record."), page
    assert SAID not in said[f"vessel/{SECOND}"]


@pytest.mark.parametrize("unit", ["(select min(unit_id) from figure.unit_now where imo_number = '9000003')", "'U-ELSEWHERE'"])
def test_one_inspection_is_a_record(tmp_path, unit):
    """Of a unit that is on board now, wherever it was seen; or seen on board, wherever the unit is now."""
    seen_on = f"'{FIRST}'" if "ELSEWHERE" in unit else "NULL"
    said = read_openings(
        build_changed(
            tmp_path,
            f"delete from record.service where imo_number = '{FIRST}'",
            f"insert into record.inspection (unit_id, imo_number, inspected_on) values ({unit}, {seen_on}, date '2026-01-05')",
        )
    )
    assert not [page for page, opening in said.items() if SAID in opening]
