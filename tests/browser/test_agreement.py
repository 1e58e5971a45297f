"""The CSV twins of the demo site against the tables of schema `figure`, read afresh."""

from __future__ import annotations

import duckdb
import pytest

from dashboards.site import build_site
from tests.browser.make_fixture_db import make_fixture_db
from tests.browser.read_site import read_page, read_twin


@pytest.fixture(scope="module")
def invented_quality(tmp_path_factory):
    """An invented fleet with answered rows, a correction and a withdrawn file: its site and database."""
    folder = tmp_path_factory.mktemp("quality")
    db = make_fixture_db(folder / "a.duckdb", vessels=2, units=6, months=3)
    build_site(db, folder / "site")
    with duckdb.connect(str(db), read_only=True) as con:
        yield folder / "site", con


def read_numbers(rows, *keys):
    return [tuple(None if row[k] == "" else float(row[k]) for k in keys) for row in rows]


def near(expected):
    return [tuple(None if v is None else pytest.approx(float(v), abs=0.0051) for v in row) for row in expected]


def test_fleet_by_duty(site, con):
    rows = read_twin(site / "data/fleet-duties.csv")
    found = con.execute("""
        select units, overdue, unknown, 100 * days_rate from figure.overdue_monthly
        where imo_number = '*' and month_end = (select as_of from intake.run)
        order by list_position(['*', 'onboard_check', 'annual_service', 'pressure_test', 'recharge_after_use',
            'cartridge_test', 'sample_discharge', 'wheeled_examination'], duty)
    """).fetchall()
    assert found and read_numbers(rows, "counted", "overdue_units", "unknown_units", "unit_days_overdue_pct") == near(found)


def test_fleet_changes(site, con):
    row = read_twin(site / "data/fleet-duties.csv")[0]
    now, month, year = con.execute("""
        select max(overdue) filter (month_end = date '2026-10-31'), max(overdue) filter (month_end = date '2026-09-30'),
            max(overdue) filter (month_end = date '2025-10-31') from figure.overdue_monthly where imo_number = '*' and duty = '*'
    """).fetchone()
    assert (int(row["change_on_month"]), int(row["change_on_year"])) == (now - month, now - year)
    text = read_page(site / "index.html").text.replace("\u00a0", " ")
    assert f"{now - month} more than on 30 Sep 2026" in text and f"{now - year} more than on 31 Oct 2025" in text


def test_vessels_in_order_of_need(site, con):
    rows = read_twin(site / "data/fleet-vessels.csv")
    found = con.execute("""
        select imo_number, overdue, units from figure.overdue_monthly join record.vessel using (imo_number)
        where duty = '*' and month_end = (select as_of from intake.run) order by overdue desc, rate desc, vessel_name
    """).fetchall()
    assert found and [(r["imo_number"], int(r["overdue_count"]), int(r["overdue_of"])) for r in rows] == found


def test_falling_due(site, con):
    rows = {r["duty"].lower(): r for r in read_twin(site / "data/fleet-ahead.csv")}
    found = con.execute("""
        select replace(duty, '_', ' '), count(*) filter (due_on <= as_of + 30), count(*) from figure.duty_now, intake.run
        where state = 'in time' and due_on <= as_of + 90 group by duty
    """).fetchall()
    assert len(found) > 1 and len(rows) == con.execute("select count(distinct duty) from duty.rule").fetchone()[0]
    assert all((int(rows[d]["in_30_days"]), int(rows[d]["in_90_days"])) == (in_30, in_90) for d, in_30, in_90 in found)


def test_every_overdue_item_once(site, con):
    rows = read_twin(site / "data/overdue-items.csv")
    found = con.execute("select due_on::varchar, days_overdue from figure.overdue_now order by all").fetchall()
    assert found and sorted((r["due_on"], int(r["days_overdue"])) for r in rows) == found
    ages = read_twin(site / "data/overdue-ages.csv")
    assert sum(int(r["items"]) for r in ages) == len(found)
    assert {r["state"] for r in rows} == {"overdue"}


def test_overdue_trend(site, con):
    rows = read_twin(site / "data/overdue-trend.csv")
    found = con.execute("""
        select overdue_unit_days, unit_days, 100 * days_rate from figure.overdue_monthly
        where imo_number = '*' and duty = '*' order by month_end desc limit 60
    """).fetchall()[::-1]
    assert len(found) == 60 and read_numbers(rows, "overdue_unit_days", "unit_days", "unit_days_overdue_pct") == near(found)


def test_forward_workload(site, con):
    rows = read_twin(site / "data/overdue-load.csv")
    (found,) = con.execute("""
        select count(*) from figure.duty_now, intake.run
        where state = 'in time' and duty <> 'onboard_check' and due_on <= as_of + 365
    """).fetchone()
    assert found == sum(int(r["due"]) for r in rows) > 0 and len(rows) == 13


def test_defect_kinds_with_their_limits(site, con):
    rows = read_twin(site / "data/defects-kinds.csv")
    found = con.execute("""
        select findings, if(is_rated, per_100_unit_years, null), if(is_rated, low, null), if(is_rated, high, null)
        from figure.defect_rate where period = 'last 12 months' and imo_number = '*' and component <> '*' and defect <> '*'
            and agent = '*' and space_category = '*' order by findings desc, component, defect limit 15
    """).fetchall()
    keys = ("findings", "per_100_unit_years", "per_100_unit_years_low", "per_100_unit_years_high")
    assert found and read_numbers(rows, *keys) == near(found)
    assert {r["per_100_unit_years"] == "" for r in rows} == {True, False}, "both rated and unrated kinds are wanted here"
    page = read_page(site / "defects.html")
    shown = page.tables["kinds"][1:]
    assert all(
        ("too few to rate" in line[-1]) == (row["per_100_unit_years"] == "") for line, row in zip(shown, rows, strict=True)
    )


def test_corrosion_by_age(site, con):
    rows = read_twin(site / "data/corrosion-ages.csv")
    found = con.execute("""
        select units, units_corroded, if(units < 10, null, 100 * share), if(units < 10, null, 100 * low), if(units < 10, null, 100 * high)
        from figure.corrosion_by_age where agent = '*' and lining = '*' and space_category = '*'
        order by regexp_extract(age_band_years, '^\\d+')::int
    """).fetchall()
    keys = ("units", "units_corroded", "corroded_pct", "corroded_pct_low", "corroded_pct_high")
    assert len(found) == 5 and read_numbers(rows, *keys) == near(found)
    assert "Survivors only" in read_page(site / "corrosion.html").text


def test_agent_mix(site, con):
    rows = read_twin(site / "data/agents-fleet.csv")
    found = con.execute("select replace(agent, '_', ' '), sum(units) from figure.agent_mix group by agent").fetchall()
    assert {r["agent"].lower(): int(r["units"]) for r in rows} == {agent: int(units) for agent, units in found}
    charges = read_twin(site / "data/agents-charges.csv")
    (units,) = con.execute("select sum(units) from figure.agent_mix").fetchone()
    assert sum(int(r["units"]) for r in charges) == units > 0 and "spare_charges_held" not in charges[0]


def test_data_quality(site, con):
    files = read_twin(site / "data/data-quality-files.csv")
    found = con.execute(
        "select rows_read, rows_loaded, rows_quarantined, rows_duplicate from intake.file order by path"
    ).fetchall()
    assert read_numbers(files, "rows_read", "rows_loaded", "rows_quarantined", "rows_duplicate") == near(found)
    kept_out = read_twin(site / "data/data-quality-quarantined.csv")
    expected = con.execute("""
        select path, line_no::varchar, rule, reason from intake.quarantine as q left join intake.file using (file_id)
        where q.superseded_by is null order by all
    """).fetchall()
    seen = sorted((r["path"], r["line_no"], r["rule"], r["reason"].removeprefix("'")) for r in kept_out)
    assert expected and seen == sorted((p or "", n or "", rule, reason) for p, n, rule, reason in expected)
    checks = [*read_twin(site / "data/data-quality-checks-failed.csv"), *read_twin(site / "data/data-quality-checks-passed.csv")]
    (failing, every) = con.execute("select sum(rows_failing), count(*) from intake.check_result").fetchone()
    assert (sum(int(r["rows_failing"]) for r in checks), len(checks)) == (failing, every)


def test_open_answered_and_declared_are_told_apart(invented_quality):
    site, con = invented_quality
    every, still = con.execute("select count(*), count(*) - count(superseded_by) from intake.quarantine").fetchone()
    assert 0 < still < every
    names = ("quarantined", "rules", "sources", "answered", "corrections", "withdrawn", "files")
    twins = {name: read_twin(site / f"data/data-quality-{name}.csv") for name in names}
    assert (len(twins["quarantined"]), len(twins["answered"])) == (still, every - still)
    for name, key in (("rules", "rows"), ("sources", "records_open"), ("files", "records_open")):
        assert sum(int(row[key]) for row in twins[name]) == still, name
    assert sum(int(row["rows_quarantined"]) for row in twins["files"]) == every, "the sum of a file keeps answered rows"
    assert {row["answered_by"] for row in twins["answered"]} == {"south/register;old.csv"}
    declared = con.execute(
        "select path, c.record_no::varchar, column_name, from_value, to_value, why, who, declared_on::varchar, "
        "declared_in, declared_record_no::varchar from intake.correction as c join intake.file using (file_id)"
    ).fetchall()
    keys = (
        "path",
        "record_no",
        "column_name",
        "from_value",
        "to_value",
        "why",
        "who",
        "declared_on",
        "declared_in",
        "declared_record_no",
    )
    assert declared and [tuple(row[key] for key in keys) for row in twins["corrections"]] == declared
    withdrawn = con.execute("select path, version::varchar, why, sha256 from intake.withdrawn").fetchall()
    assert withdrawn and [(r["path"], r["version"], r["why"], r["sha256"]) for r in twins["withdrawn"]] == withdrawn
    text = read_page(site / "data-quality.html").text
    assert f"Of {every} such records {every - still} are answered by later files, {still} are open." in text


def test_without_answers_and_withdrawals_their_sections_are_not_there(site, con):
    text = read_page(site / "data-quality.html").text
    (records,) = con.execute("select count(distinct (file_id, record_no)) from intake.quarantine").fetchone()
    assert f"{records} records are open: no later file answers them." in text
    for heading in ("Answered by later files", "Withdrawn files"):
        assert heading not in text, heading


def test_where_every_row_is_answered_nothing_is_to_be_sent_back(tmp_path):
    db = make_fixture_db(tmp_path / "a.duckdb", vessels=1, units=4, months=3)
    with duckdb.connect(str(db)) as con:
        con.execute("update intake.quarantine set superseded_by = '3'")
    build_site(db, tmp_path / "site")
    page = read_page(tmp_path / "site" / "data-quality.html")
    assert "Later files answer all 18 records." in page.text and "Later files answer every row that was kept out." in page.text
    assert "nothing has to go back" in page.text and "quarantine --export" not in page.text
    assert "quarantined" not in page.tables and len(page.tables["answered"]) == 1 + 18


def test_vessel_registers_hold_every_unit(site, con):
    for imo, units, late, found in con.execute("""
        select imo_number, count(*), sum(overdue_duties)::int, sum(open_findings)::int from figure.unit_now group by imo_number
    """).fetchall():
        rows = read_twin(site / f"data/vessel/{imo}-register.csv")
        assert len(rows) == units
        assert (sum(int(r["overdue_duties"]) for r in rows), sum(int(r["open_findings"]) for r in rows)) == (late, found)


def test_due_lists_name_every_item_once(site, con):
    for imo, late, ahead in con.execute("""
        select imo_number, count(*) filter (state = 'overdue'), count(*) filter (state = 'in time' and duty <> 'onboard_check'
            and due_on <= as_of + 90) from figure.duty_now, intake.run group by imo_number
    """).fetchall():
        page = read_page(site / f"vessel/{imo}.html")
        overdue = page.tables.get("overdue", [[]])[1:]
        due = [row for row in page.tables.get("due", [[]])[1:] if "onboard check" not in row[1]]
        assert len(overdue) == late and len(due) == ahead


def test_rule_book_stands_on_the_method_page(site, con):
    rows = read_twin(site / "data/method-rules.csv")
    found = con.execute("select rule_id, interval_months::varchar, certainty from duty.rule").fetchall()
    assert {(r["rule_id"], r["interval_months"], r["certainty"][1 : r["certainty"].index("]")]) for r in rows} == set(found)
