"""Numbers of past days and of what happened lead to lists, too: each held against another way to find what it counts.

In: the site and database of the sample exports. The other ways: figure.duty_now made for the past day, and plain loops over records.
"""

from __future__ import annotations

import re
import shutil
from collections import Counter, defaultdict
from datetime import date
from importlib.resources import files
from pathlib import Path

import duckdb
import pytest

from dashboards import words
from dashboards.pages import list_book, list_flow, list_found, list_past, list_services
from dashboards.pages.list_track import name_track
from dashboards.site import build_site
from pipeline.statements import run_sql
from tests.browser.make_fixture_db import make_fixture_db
from tests.browser.test_drill import COUNTED, WHERE, find_counted, read_list, strip_marks
from tests.browser.test_traces import read_line
from tests.golden.conftest import AS_OF

YEAR_FROM = date(2025, 11, 1)  # the last 12 months of AS_OF
LATE = re.compile(r"(\d+) days? overdue then")


def read_named(site: Path, name: str, scope: str = "fleet") -> list[list[str]]:
    """Unit, why, vessel, place, file:line of each line of a list."""
    return [[strip_marks(cell) for cell in row] for row in read_list(site / f"list/{scope}/{name}.html")]


def find_columns(site: Path, page: str, table: str, *columns: str) -> list[tuple[str, str]]:
    """What stands in these columns: text, and markup."""
    found = re.search(rf'<table id="{table}".*?</table>', (site / page).read_text(encoding="utf-8"), re.S)[0]
    heads = [strip_marks(head) for head in re.findall(r'<th scope="col".*?</th>', found, re.S)]
    told = []
    for row in found.partition("<tbody>")[2].split("<tr>")[1:]:
        cells = dict(zip(heads, re.findall(r"<t[hd].*?</t[hd]>", row, re.S), strict=True))
        told += [(strip_marks(cells[column]), cells[column]) for column in columns]
    return told


@pytest.mark.parametrize(
    ("page", "table", "columns"),
    [
        ("overdue.html", "overdue-table-month-ends", ("Units overdue",)),
        ("overdue.html", "overdue-table-on-time", ("Fell due", "Not in time")),
        ("watch-list.html", "watch-list-table-half-years", ("Condemned", "Left otherwise")),
        ("defects.html", "defects-table-after-service", ("Units serviced", "Looked at within 90 days", "Failed")),
        ("defects.html", "defects-table-lasting", ("Found", "Closed the same day", "Still open")),
        *(("defects.html", f"defects-table-{name}", ("Found",)) for name in (
            "pareto", "rarer", "kinds", "component", "space_category", "agent", "maker", "provider", "vessels", "repeats", "closing", "periods")),
    ],
)  # fmt: skip
def test_each_of_these_numbers_leads_to_its_list(site, page, table, columns):
    cells = find_columns(site, page, table, *columns)
    assert any("data-count" in markup for _, markup in cells)
    for said, markup in cells:
        assert bool(re.match("[1-9]", said)) == ("data-count" in markup), (table, said)


def test_each_vessels_month_ends_and_numbers_lead_to_lists(site, con):
    for page in site.glob("vessel/*[0-9].html"):
        imo = page.stem
        for said, markup in find_columns(site, f"vessel/{imo}.html", f"vessel-{imo}-table-trend", "Units overdue at its end"):
            assert bool(re.match("[1-9]", said)) == ("data-count" in markup), (imo, said)
        wanted = con.execute("""
            select count(*) filter (measure <> 'spare_charges' and held > 0), count(*) filter (measure = 'portable_units' and usable > 0),
                count(*) filter (measure = 'spare_charges' and imo_number in (select imo_number from record.spare)) from figure.number_now
            where imo_number = ?""", [imo]).fetchone()  # fmt: skip
        table = f"vessel-{imo}-table-numbers"
        linked = [
            sum("data-count" in markup for _, markup in find_columns(site, f"vessel/{imo}.html", table, column))
            for column in ("Held", "Of use", "Lines of counts")
        ]
        assert linked == list(wanted) and all(wanted), imo


def test_openings_lead_to_the_units_groups_and_bands_they_name(site):
    for page, numbers in (("overdue", 6), ("corrosion", 5), ("defects", 2)):
        opening = (site / f"{page}.html").read_text(encoding="utf-8").partition('<p class="answer">')[2].partition("</p>")[0]
        assert len(COUNTED.findall(opening)) == numbers, page
    groups = read_named(site, "overdue-groups")
    assert len(groups) == len({(row[0], row[2]) for row in groups}) and all("ample discharge" in row[1] for row in groups)


def test_every_line_of_every_list_is_there_and_names_the_unit(site):
    seen = Counter()
    for page in (site / "list/fleet").glob("*.html"):
        if re.search(r"\.\d+\.html$", page.name):
            continue
        for unit, _, _, _, place in read_named(site, page.stem):
            path, line_no = WHERE.search(place).groups()
            line = read_line(path, line_no)
            if re.fullmatch(r"[A-Z]{3}-\d{6}", unit):
                assert unit.split("-")[1] in line or "vessel" in path, (page.name, unit, line)
                seen[page.stem.split("-")[0]] += 1
    assert len(seen) > 15 and sum(seen.values()) > 10_000


@pytest.fixture(scope="module")
def past(demo, tmp_path_factory) -> dict[date, list[tuple]]:
    """What was overdue on past days: figure.duty_now made for those days, which knows nothing of figure.count_interval."""
    db = tmp_path_factory.mktemp("past") / "copy.duckdb"
    shutil.copy(demo.db, db)
    sql, told = files("pipeline.figures").joinpath("duty_now.sql").read_text(encoding="utf-8"), {}
    with duckdb.connect(str(db)) as con:
        days = con.execute("""
            select distinct month_end from figure.overdue_monthly where month_end > date '2024-11-01' order by 1""").fetchall()
        for (day,) in days:
            for table in ("due_ahead", "overdue_now", "duty_now"):
                con.execute(f"drop table figure.{table}")
            run_sql(con, sql, {"as_of": day})
            told[day] = con.execute("""
                select imo_number, unit_id, duty, due_on, days_overdue from figure.duty_now
                where state = 'overdue' and not is_group and duty in (select duty from duty.rule where in_any)""").fetchall()
    return told


def test_units_overdue_on_past_month_ends_are_those_of_duty_now_made_for_that_day(site, con, past):
    names = dict(con.execute("select imo_number, vessel_name from record.vessel").fetchall())
    assert len(past) == list_past.MONTHS and sum(map(len, past.values())) > 300
    for day, rows in past.items():
        for scope in ("fleet", *names):
            mine = [row for row in rows if scope in ("fleet", row[0])]
            path = site / f"list/{scope}/{list_past.name_past(day)}.html"
            assert path.is_file() == bool(mine), (scope, day)
            listed = read_named(site, list_past.name_past(day), scope) if mine else []
            wanted = defaultdict(list)
            for imo, unit, _, due, late in mine:
                wanted[unit, names[imo]].append((words.say_date(due), late))
            assert Counter((row[0], row[2]) for row in listed) == Counter(wanted.keys())
            for row in listed:
                dues = wanted[row[0], row[2]]
                assert sorted(int(late) for late in LATE.findall(row[1])) == sorted(late for _, late in dues), (day, row)
                assert all(f"due {due}," in row[1] for due, _ in dues), (day, row)


def test_what_fell_due_and_was_late_is_what_a_loop_over_spans_finds(site, con):
    counted = defaultdict(list)
    for key, from_on, to_on in con.execute("select stay_no, from_on, to_on from duty.counted").fetchall():
        counted[key].append((from_on, to_on))
    spans = con.execute("""
        select imo_number, unit_id, duty, due_on, done_on, stay_no from duty.span where stay_no is not null and due_on >= ? and due_on < ?
            and due_on >= judged_from and coalesce(due_on < judged_to, true)""", [YEAR_FROM, AS_OF]).fetchall()  # fmt: skip
    done: dict[tuple, date] = {}
    for imo, unit, duty, due, done_on, stay in spans:
        if any(from_on <= due < to_on for from_on, to_on in counted[stay]):
            key = (imo, unit, duty, due)
            done[key] = max(done.get(key, date.min), done_on or date.max)
    for duty in ("onboard_check", "annual_service", "pressure_test"):
        mine = {key: on for key, on in done.items() if key[2] == duty}
        late = {key: on for key, on in mine.items() if on > key[3]}
        for which, wanted in (("fell-due", mine), ("not-in-time", late)):
            listed = read_named(site, list_flow.name_flow(which, duty))
            assert Counter(row[0] for row in listed) == Counter(key[1] for key in wanted), (which, duty)
            ends = Counter("not done" if on == date.max else f"done {words.say_date(on)}" for on in wanted.values())
            assert Counter(re.search(r"not done|done \d+\s\w+\s\d+", row[1])[0] for row in listed) == ends
        assert mine and late


def test_units_of_use_are_those_held_without_unfit_ones_and_counts_add_up(site, con):
    agents, forms, spaces = con.execute(
        "select agents, forms, space_categories from duty.provision where rule_id = 'solas-least-five'"
    ).fetchone()
    assert agents is None and forms == ["portable"] and "galley" in spaces
    unfit = set(con.execute("select imo_number, unit_id from figure.verdict where verdict in ('unfit', 'condemn')").fetchall())
    for imo, held, usable in con.execute(
        "select imo_number, held, usable from figure.number_now where rule_id = 'solas-least-five'"
    ).fetchall():
        (of_use,) = (site / f"list/{imo}").glob("usable-solas-least-five*.html")
        (all_held,) = (site / f"list/{imo}").glob("held-solas-least-five*.html")
        aboard = con.execute(
            "select unit_id, space_category from figure.unit_now where imo_number = ? and form = 'portable' and counted in ('in service', 'laid up')",
            [imo],
        ).fetchall()
        units = {unit for unit, space in aboard if space in spaces}
        assert {row[0] for row in read_named(site, all_held.stem, imo)} == units and len(units) == held
        assert {row[0] for row in read_named(site, of_use.stem, imo)} == {u for u in units if (imo, u) not in unfit}
        assert len(read_named(site, of_use.stem, imo)) == usable
    for imo, held in con.execute(
        "select imo_number, held from figure.number_now where rule_id = 'solas-spare-charges' and held > 0"
    ).fetchall():
        (counts,) = (site / f"list/{imo}").glob("counts-solas-spare-charges*.html")
        rows = read_named(site, counts.stem, imo)
        charges = [int(re.match(r"(\d+) charge", row[1])[1]) for row in rows]
        assert sum(charges) == held
        for row, number in zip(rows, charges, strict=True):
            assert str(number) in re.findall(r"\d+", read_line(*WHERE.search(row[4]).groups())), row


def test_services_looked_at_and_failed_are_cited_by_both_records(site, con):
    followed = con.execute(
        "select unit_id, serviced_on, provider, to_on, is_looked_at, is_failed from figure.service_followed"
    ).fetchall()
    bad = defaultdict(list)
    for unit, day, path, line in con.execute("""
        select unit_id, found_on, path, line_no from record.finding join intake.file using (file_id) where severity in ('major', 'unfit')
        union all select unit_id, inspected_on, path, line_no from record.inspection join intake.file using (file_id) where outcome = 'unsatisfactory'
        """).fetchall():  # fmt: skip
        bad[unit].append((day, f"{path}:{line}"))
    done = defaultdict(set)
    for unit, day, path, line in con.execute(
        "select unit_id, serviced_on, path, line_no from record.service join intake.file using (file_id)"
    ).fetchall():
        done[unit, day].add(f"{path}:{line}")
    for period, start in (("all", date.min), ("last 12 months", YEAR_FROM)):
        for provider in ("*", "Marrowind Technical"):
            mine = [row for row in followed if row[1] >= start and provider in ("*", row[2])]
            for which, kept in (
                ("serviced", mine),
                ("looked-at", [r for r in mine if r[4]]),
                ("failed", [r for r in mine if r[4] and r[5]]),
            ):
                listed = read_named(site, list_services.name_services(which, period, provider))
                said = [(row[0], re.search(r"of (\d+\s\w+\s\d+)", row[1])[1]) for row in listed]
                assert Counter(said) == Counter((row[0], words.say_date(row[1])) for row in kept), (which, period, provider)
                day_of = {(row[0], words.say_date(row[1])): row for row in kept}
                for row, key in zip(listed, said, strict=True):
                    unit, serviced_on, _, to_on, _, _ = day_of[key]
                    if which != "failed":
                        assert row[4] in done[unit, serviced_on]
                        continue
                    assert re.search(r"\((\S+)\)", row[1])[1] in done[unit, serviced_on]
                    assert any(serviced_on < day <= to_on and where == row[4] for day, where in bad[unit]), row


def test_what_became_of_past_lists_is_what_the_records_say(site, con):
    condemned = defaultdict(list)
    for unit, day, path, line in con.execute("""
        select unit_id, serviced_on, path, line_no from record.service join intake.file using (file_id) where kind = 'condemn'
        union all select unit_id, removed_on, path, line_no from record.unit join intake.file using (file_id) where removal_reason = 'condemned'
        """).fetchall():  # fmt: skip
        condemned[unit].append((day, f"{path}:{line}"))
    starts = [day for (day,) in con.execute("select distinct cutoff from figure.back_test where cutoff is not null").fetchall()]
    assert len(starts) > 3
    for start in starts:
        listed = con.execute(
            "select unit_id from figure.unit_half_year where starts_on = ? and not is_now and condemned is not null", [start]
        ).fetchall()
        first = {unit: min(days) for unit, days in condemned.items()}
        wanted = {unit for (unit,) in listed if unit in first and start < first[unit][0] <= start.replace(year=start.year + 1)}
        rows = read_named(site, name_track("condemned", start))
        assert {row[0] for row in rows} == wanted and len(rows) == len(wanted) > 0
        assert all(row[4] in {where for day, where in condemned[row[0]] if day == first[row[0]][0]} for row in rows)
        for row in read_named(site, name_track("left", start)):
            (left,) = con.execute(
                "select list(removed_on) from record.unit where unit_id = ? and removed_on is not null", [row[0]]
            ).fetchone()
            days = [day for day in left or () if start < day <= start.replace(year=start.year + 1)]
            assert row[0] not in wanted and any(words.say_date(day) in row[1] for day in days), row


def test_defects_found_are_those_of_a_loop_over_reports(site, con):
    reports = con.execute("""
        select unit_id, component, defect, found_on, closed_on, imo_number, agent, space_category, maker, provider, path, line_no
        from figure.defect_report join intake.file using (file_id) where is_counted order by unit_id, component, defect, found_on""").fetchall()
    first, until, before = [], date.min, None
    for row in reports:
        if row[:3] != before or row[3] >= until:
            first.append(row)
            until = date.min if row[:3] != before else until
        before, until = row[:3], max(until, row[4] or date.max)
    names = {"component": 1, "vessel": 5, "agent": 6, "space_category": 7, "maker": 8, "provider": 9}
    year = [row for row in first if row[3] >= YEAR_FROM]
    assert len(year) > 100
    for dimension, n in names.items():
        for value in {row[n] for row in year}:
            rows = read_named(site, list_found.name_found("found", list_found.YEAR, dimension, value))
            assert Counter(r[4] for r in rows) == Counter(f"{r[10]}:{r[11]}" for r in year if r[n] == value), (dimension, value)
    for period in ("all", *{str(row[3].year) for row in first}):
        rows = read_named(site, list_found.name_found("found", period))
        assert Counter(r[4] for r in rows) == Counter(f"{r[10]}:{r[11]}" for r in first if period in ("all", str(r[3].year)))


def test_a_list_that_would_be_longer_than_allowed_is_none_and_its_number_leads_nowhere(demo, tmp_path, monkeypatch):
    for module in (list_past, list_flow, list_services, list_found):
        monkeypatch.setattr(module, "MOST_LINES", 12)
    build_site(demo.db, tmp_path / "site")
    made = [path.stem for path in (tmp_path / "site/list/fleet").glob("*.html")]
    assert not any(name.startswith(("serviced-", "looked-at-all")) for name in made)
    past = [name for name in made if name.startswith("overdue-on-")]
    assert 0 < len(past) < list_past.MONTHS and list_book.MOST_LINES > 12
    for _, target, count, _ in find_counted(tmp_path / "site"):
        assert target.is_file() and not (target.stem in past and count > 12)


def test_no_past_and_no_service_make_no_such_lists(tmp_path):
    build_site(make_fixture_db(tmp_path / "a.duckdb", vessels=2, units=5, months=1), tmp_path / "site")
    made = {path.stem for path in (tmp_path / "site/list/fleet").glob("*.html")}
    assert made and not any(re.match("fell-due|serviced|condemned-after", name) for name in made)
