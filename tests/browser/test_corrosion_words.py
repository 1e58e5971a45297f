"""The Corrosion page says what its figures hold, and claims nothing that they leave open."""

from __future__ import annotations

import duckdb
import pytest

from dashboards.site import build_site
from tests.browser.make_fixture_db import make_fixture_db
from tests.browser.read_site import read_page, read_twin


def build(tmp_path, *statements: str) -> str:
    db = make_fixture_db(tmp_path / "a.duckdb", vessels=3, units=20, months=4)
    with duckdb.connect(str(db)) as con:
        for statement in statements:
            con.execute(statement)
    build_site(db, tmp_path / "site")
    return (
        read_page(tmp_path / "site" / "corrosion.html").text.replace("\u2009", " ").replace("\u202f", " ").replace("\u00a0", " ")
    )


def test_twins_hold_the_curves(site, con):
    rows = read_twin(site / "data/corrosion-onset.csv")
    found = con.execute("""
        select age_years, 100 * share from figure.corrosion_onset
        where method = 'first clean, errors of looks allowed for' and dimension = 'all' order by age_years""").fetchall()
    mine = [(float(row["age_years"]), float(row["corrected_pct"])) for row in rows]
    assert found and mine == [pytest.approx(pair, abs=0.01) for pair in found]
    walls = read_twin(site / "data/corrosion-walls.csv")
    (units, left) = con.execute("select count(*), count(years_left) from figure.wall_loss where is_aboard").fetchone()
    assert (len(walls), sum(row["years_left"] != "" for row in walls)) == (units, left) and left


@pytest.mark.parametrize(
    ("limits", "said"),
    [("0.5, 0.9", "begins earlier than elsewhere, by more than chance"), ("1.1, 1.9", "begins later than elsewhere, by more than chance"),
     ("0.5, 1.1", "No evidence that corrosion begins earlier or later on open deck")],
)  # fmt: skip
def test_verdict_on_the_open_deck(tmp_path, limits, said):
    low, high = limits.split(", ")
    text = build(tmp_path, f"update figure.corrosion_model set low = {low}, high = {high} where term = 'open_deck'")
    assert said in text
    assert (
        sum(
            word in text
            for word in ("begins earlier than elsewhere", "begins later than elsewhere", "No evidence that corrosion begins")
        )
        == 1
    )


def test_without_a_corrected_curve_the_records_lead_and_say_so(tmp_path):
    text = build(tmp_path, "delete from figure.corrosion_onset where method = 'first clean, errors of looks allowed for'")
    assert "the curve stands as recorded: the truth is earlier" in text


def test_nothing_to_draw_says_why(tmp_path):
    text = build(
        tmp_path, "delete from figure.corrosion_onset", "delete from figure.corrosion_model", "delete from figure.wall_loss",
        "delete from figure.pit_depth", "delete from figure.pit_reading", "delete from figure.rust_grade_change",
        "insert into figure.corrosion_model values ('first clean, delayed entry', 'all', 'all', 'shape', 4, 1, 1, null, null, null, '1 onset seen; 10 are needed')",
    )  # fmt: skip
    assert "No curve can be drawn yet: 1 onset seen; 10 are needed." in text
    assert (
        "can’t be told from these records" in text
        and "Without two readings of a wall" in text
        and "No pit has been measured yet" in text
    )
