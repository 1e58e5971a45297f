"""The Fitness page and what other pages say of verdicts, against figure.*: each reason with its rule, its limit, its file and line."""

from __future__ import annotations

import pytest

from tests.browser.read_site import read_page, read_twin

PARTS = ("condemn", "unfit", "placement", "doubt")


@pytest.mark.parametrize("part", PARTS)
def test_each_reason_stands_with_rule_file_and_line(site, con, part):
    rows = read_twin(site / f"data/fitness-{part}.csv")
    found = con.execute(
        """
        select unit_id, reason, rule_id, path, line_no::varchar from (
            select * from figure.verdict where verdict <> 'placement' union all by name select * from figure.placement_now)
        join intake.file using (file_id) where verdict = ?""",
        [part],
    ).fetchall()
    assert found and sorted((r["unit_id"], r["reason"], r["rule_id"], r["path"], r["line_no"]) for r in rows) == sorted(found)


def test_each_rule_of_a_verdict_stands_on_the_method_page(site, con):
    anchors = set(read_page(site / "method.html").ids)
    rules = {
        row[0]
        for row in con.execute(
            "select rule_id from figure.verdict union select rule_id from figure.placement_now union select rule_id from figure.number_now"
        ).fetchall()
    }
    assert len(rules) > 20 and {f"rule-{rule}" for rule in rules} <= anchors


def test_the_opening_counts_units_and_not_reasons(site, con):
    said = read_page(site / "fitness.html").text
    counts = dict(con.execute("select verdict, count(distinct unit_id) from figure.verdict group by verdict").fetchall())
    assert f"{counts['unfit']} units are unfit and {counts['condemn']} are to be condemned" in said


def test_stations_and_numbers_are_those_of_the_figures(site, con):
    rows = read_twin(site / "data/fitness-stations.csv")
    found = con.execute("select position_no, state from figure.station_now where state <> 'filled'").fetchall()
    assert sorted((r["position_no"], r["state"]) for r in rows) == sorted((p or "", s) for p, s in found) and len(found) > 5
    short = con.execute("select count(*) from figure.number_now where state <> 'met'").fetchone()[0]
    assert len(read_twin(site / "data/fitness-numbers.csv")) == short > 0


def test_a_vessel_shows_its_own_verdicts(site, con):
    imo, reasons = con.execute(
        "select imo_number, count(*) from figure.verdict where verdict = 'unfit' group by all order by 2 desc limit 1"
    ).fetchone()
    assert len(read_twin(site / f"data/vessel/{imo}-unfit.csv")) == reasons


def test_every_page_carries_the_caution(site):
    for path in [*site.glob("*.html"), *site.glob("vessel/*.html")]:
        text = path.read_text(encoding="utf-8")
        assert 'class="caution"' in text and "Never repair a pressure shell by welding" in text, path.name


def test_stated_dates_are_those_of_the_figure(site, con):
    rows = read_twin(site / "data/data-quality-stated.csv")
    found = con.execute("select unit_id, stated_on::varchar, computed_on::varchar from figure.stated_vs_computed").fetchall()
    assert found and sorted((r["unit"], r["stated_on"], r["computed_on"]) for r in rows) == sorted(found)
