"""What the pages say in sentences, tiles and captions, against sums made anew from the database."""

from __future__ import annotations

import re
from pathlib import Path

import duckdb
import pytest

from dashboards.site import build_site
from tests.browser.make_fixture_db import make_fixture_db
from tests.browser.read_site import read_page


def read_text(page: Path) -> str:
    return re.sub(r"\s+", " ", read_page(page).text.replace("\u00a0", " "))


def read_answer(page: Path) -> str:
    source = page.read_text(encoding="utf-8")
    answer = re.search(r'<p class="answer">(.*?)</p>', source, re.S)[1]
    return re.sub(r"<[^>]+>", "", answer).replace("\u00a0", " ").replace("&#39;", "'")


@pytest.fixture(scope="module")
def invented(build_invented):
    """A fleet with items that can't be told, which the sample lacks: its site and a connection to its database."""
    site = build_invented(vessels=6, units=90)
    with duckdb.connect(str(site.parent / "invented.duckdb"), read_only=True, config={
        "autoinstall_known_extensions": "false", "autoload_known_extensions": "false"}) as con:  # fmt: skip
        yield site, con


def test_overdue_opening_counts_units_groups_and_items(site, con):
    items, units, groups, median, longest = con.execute("""
        select count(*), count(distinct (imo_number, unit_id)) filter (not is_group),
            count(distinct (imo_number, unit_id)) filter (is_group), floor(median(days_overdue) + 0.5)::int, max(days_overdue)
        from figure.overdue_now""").fetchone()
    said = read_answer(site / "overdue.html")
    assert f"{units} units and {groups} sample groups are overdue ({items} items)" in said
    assert f"half of the items for {median} days or more, the longest {longest}." in said


@pytest.mark.parametrize("page", ["index", "overdue"])
def test_openings_name_the_vessel_with_most_of_it(site, con, page):
    (imo, most), (_, second) = con.execute(
        "select imo_number, count(*) from figure.overdue_now group by all order by 2 desc limit 2"
    ).fetchall()
    (name,) = con.execute("select vessel_name from record.vessel where imo_number = ?", [imo]).fetchone()
    (checks,) = con.execute(
        "select count(*) from figure.overdue_now where imo_number = ? and duty = 'onboard_check'", [imo]
    ).fetchone()
    assert most > second and f"{most} of them on {name}: {checks} onboard checks, " in read_answer(site / f"{page}.html")


def test_one_vessel_alone_is_not_named_as_the_place(build_invented):
    site = build_invented(vessels=1, units=60)
    assert "items)" in read_answer(site / "overdue.html") and "of them on" not in read_answer(site / "overdue.html")


def test_twelve_months_against_the_twelve_before(site, con):
    now, before = con.execute("""
        select 100 * sum(overdue_unit_days) filter (month_end > as_of - interval 1 year) / sum(unit_days) filter (month_end > as_of - interval 1 year),
            100 * sum(overdue_unit_days) filter (month_end <= as_of - interval 1 year) / sum(unit_days) filter (month_end <= as_of - interval 1 year)
        from figure.overdue_monthly, intake.run where imo_number = '*' and duty = '*' and month_end > as_of - interval 2 year
    """).fetchone()
    said = f"Since 1 Nov 2025 {now:.1f} % of unit-days were overdue, against {before:.1f} % in the 12 months before"
    assert said in read_answer(site / "overdue.html")
    assert read_text(site / "overdue.html").count(said) == 2, "the trend's title says it as the opening does"


def test_short_records_compare_no_years(build_invented):
    said = read_answer(build_invented(vessels=2, units=6, months=14) / "overdue.html")
    assert "don't span 24 months yet" in said and "12 months before" not in said


def test_unknown_items_are_counted_listed_and_never_in_time(invented):
    site, con = invented
    items, units = con.execute(
        "select count(*), count(distinct (imo_number, unit_id)) from figure.duty_now where state = 'unknown'"
    ).fetchone()
    in_service, beside = con.execute("""
        select units, unknown from figure.overdue_monthly join intake.run on month_end = as_of where imo_number = '*' and duty = '*'
    """).fetchone()
    assert items > 1
    assert f"Due date unknown{items}items, on {units} units" in read_text(site / "index.html").replace(" items, on", "items, on")
    for page in ("index.html", "overdue.html"):
        assert f"of {in_service} units in service" in read_answer(site / page)
    assert len(read_page(site / "overdue.html").tables["unknown"]) == 1 + items
    assert beside == 0 or f"{beside} can't be told" in read_answer(site / "index.html")
    for imo, mine in con.execute(
        "select imo_number, count(*) from figure.duty_now where state = 'unknown' group by all"
    ).fetchall():
        page = read_page(site / "vessel" / f"{imo}.html")
        assert len(page.tables["unknown"]) == 1 + mine
        assert "unknown" in {row[1] for row in page.tables["register"]}


def test_sentence_says_how_many_cannot_be_told(tmp_path):
    db = make_fixture_db(tmp_path / "a.duckdb", vessels=2, units=8, months=3)
    with duckdb.connect(str(db)) as con:
        con.execute("update figure.overdue_monthly set unknown = 3 where duty = '*'")
        (units,) = con.execute(
            "select units from figure.overdue_monthly where imo_number = '*' and duty = '*' order by month_end desc"
        ).fetchone()
    build_site(db, tmp_path / "site")
    pages = [tmp_path / "site" / "index.html", tmp_path / "site" / "overdue.html", *(tmp_path / "site" / "vessel").iterdir()]
    for page in pages:
        assert "3 can't be told (nothing to count from)" in read_answer(page)
    assert f"of {units} units in service" in read_answer(pages[0])


def test_tiles_split_open_findings_by_severity(site, con):
    sql = """
        select sum(open_findings)::int, count(*) filter (open_findings > 0), count(*) filter (worst_open_severity = 'unfit'),
            count(*) filter (worst_open_severity = 'major'), count(*) filter (worst_open_severity = 'minor')
        from figure.unit_now where counted = 'in service' {}"""
    every, units, unfit, major, minor = con.execute(sql.format("")).fetchone()
    text = read_text(site / "index.html").replace(" on", "on")
    assert unfit and major and minor
    split = f"by the worst of each: {unfit} unfit, {major} major and {minor} minor"
    assert f"Open findings{every}on {units} units in service, {split}" in text
    for (imo,) in con.execute("select distinct imo_number from figure.unit_now").fetchall():
        mine = con.execute(sql.format("and imo_number = ?"), [imo]).fetchone()[0] or 0
        assert f"Open findings{mine}on" in read_text(site / f"vessel/{imo}.html").replace(" on", "on"), imo


def test_grounds_count_common_practice_and_missing_records(site, con):
    every, common, bare = con.execute("""
        select count(*), count(*) filter (certainty = 'C'), count(*) filter (basis_kind in ('in_service_on', 'made_on'))
        from figure.overdue_now join duty.rule using (rule_id)""").fetchone()
    assert common and bare
    text = read_text(site / "overdue.html")
    assert f"{common} of {every} rest on a rule of common practice only" in text and f"for {bare} no such record exists" in text


def test_corrosion_claims_nothing_of_small_bands(site, con):
    rows = con.execute("""
        select age_band_years, units_corroded, units, low, high from figure.corrosion_by_age
        where agent = '*' and lining = '*' and space_category = '*' and units >= 30 order by share""").fetchall()
    small = con.execute("""
        select age_band_years, units from figure.corrosion_by_age where agent = '*' and lining = '*' and space_category = '*' and units < 30
    """).fetchall()
    said = read_answer(site / "corrosion.html")
    (low, high) = rows[0], rows[-1]
    assert f"on {high[1]} of {high[2]} (" in said and f"on {low[1]} of {low[2]} (" in said
    assert small and all(f"aged {band}" not in said for band, _ in small)
    title = "their intervals don't meet" if high[3] > low[4] else "their intervals overlap"
    assert title in read_text(site / "corrosion.html")
    (began,) = con.execute("select strftime(min(month_end), '%b %Y') from figure.overdue_monthly").fetchone()
    assert f"since records began in {began}" in said
    ((oldest, units, agents, agent),) = con.execute("""
        select age_band_years, sum(units), count(*), min(agent) from figure.corrosion_by_age
        where agent <> '*' and age_band_years = '20 and over' group by all""").fetchall()
    assert agents == 1 and f"All {units} units of 20+ are {agent}" in said


def test_defects_say_what_is_left_out(site, con):
    (left_out,) = con.execute("""
        select count(*) from figure.defect_report, intake.run
        where not is_counted and found_on > as_of - interval 12 month and found_on <= as_of""").fetchone()
    said = read_answer(site / "defects.html")
    assert left_out and f"{left_out} reports are left out" in said and "on units under observation" in said


def test_agents_name_who_holds_obsolete_units(site, con):
    held = con.execute("""
        select vessel_name, sum(obsolete_units)::int from figure.agent_mix join record.vessel using (imo_number)
        where obsolete_units > 0 group by all order by 2 desc""").fetchall()
    said = read_answer(site / "agents.html")
    assert held and all(f"{units} on {name}" in said for name, units in held[:3]) and "; the rest other agents" in said


def test_quiet_vessels_are_those_of_the_figure(invented, site, con):
    other, other_con = invented
    (quiet,) = other_con.execute("select count(*) from figure.freshness where is_quiet").fetchone()
    assert quiet and f"45 days, those laid up apart: {quiet} of 6 vessels" in read_answer(other / "data-quality.html")
    (none,) = con.execute("select count(*) from figure.freshness where is_quiet").fetchone()
    assert none == 0 and "those laid up apart: none." in read_answer(site / "data-quality.html")


def test_names_of_duties_come_from_the_rule_book(tmp_path):
    db = make_fixture_db(tmp_path / "a.duckdb", vessels=2, units=8, months=3)
    with duckdb.connect(str(db)) as con:
        con.execute("update duty.rule set title = 'look round' where duty = 'onboard_check'")
        con.execute("update duty.rule set in_any = false where duty = 'pressure_test'")
    build_site(db, tmp_path / "site")
    text = read_text(tmp_path / "site" / "index.html")
    assert "overdue for look round or annual service" in text and "any of the two duties" in text
    assert "onboard check" not in text.lower()


def test_before_the_first_vessel_joins_the_page_says_when(tmp_path):
    db = make_fixture_db(tmp_path / "a.duckdb", vessels=0)
    with duckdb.connect(str(db)) as con:
        con.execute(
            "insert into record.vessel (imo_number, vessel_name, joined_on) values ('9000003', 'Late Comer', date '2027-05-01')"
        )
    build_site(db, tmp_path / "site")
    for page in ("index", "overdue", "defects", "corrosion", "agents"):
        assert "joins the fleet on 1 May 2027" in read_answer(tmp_path / "site" / f"{page}.html")
