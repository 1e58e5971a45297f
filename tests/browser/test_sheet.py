"""A vessel's sheet: one page of A4 whatever the vessel, nothing cut, what is left out counted, and the same numbers as the figures."""

from __future__ import annotations

import re

import duckdb
import pytest

from dashboards import database, render
from dashboards.keep_same import Folder
from dashboards.pages import sheet_rows, vessel_data, vessel_sheet
from dashboards.pages.vessel_lists import AHEAD_DAYS
from dashboards.site import start_folder
from tests.browser.hostile import LONG, QUOTES, TURNED
from tests.browser.make_fixture_db import make_fixture_db
from tests.browser.test_pages import close, open_page

PAPER_PX = 703  # 186 mm at 96 to the inch: A4 without the sheet's margins
# What is drawn on paper and does not show all of itself: a box that holds more than it shows, or a part of the sheet without height.
CUT = """() => [...document.querySelectorAll('.sheet :is(td, th, caption, .answer, h1, .facts span, .note, .caution p, .foot p)')]
    .filter(part => part.getClientRects().length)
    .filter(part => part.scrollWidth > part.clientWidth + 1 && part.clientWidth || part.scrollHeight > part.clientHeight + 1 && part.clientHeight
        || part.getBoundingClientRect().right > document.documentElement.clientWidth + 1)
    .map(part => part.closest('section')?.id + ': ' + part.innerText.slice(0, 60))"""
LOST = """() => [...document.querySelectorAll('.sheet main > *, .sheet .foot')].filter(part => part.getBoundingClientRect().height < 8).map(part => part.id)"""


ROWS = """() => Object.fromEntries([...document.querySelectorAll('.sheet section:has(tbody)')].map(part => [part.id, [
    part.querySelectorAll('tbody tr').length, Number((part.querySelector('caption').innerText.match(/and ([0-9,]+) more line/) || [0, '0'])[1].replace(',', ''))]]))"""


def print_sheet(browser, site, imo, **context) -> tuple[int, str, list[str], dict[str, tuple[int, int]]]:
    """Pages of its PDF, its text as printed, what is cut, and of each table the rows that stand there and those that it says it leaves out."""
    page, trouble = open_page(browser, site, f"vessel/{imo}-sheet", **context)
    pdf = page.pdf(prefer_css_page_size=True)
    page.set_viewport_size({"width": PAPER_PX, "height": 1000})
    page.emulate_media(media="print")
    said, cut, lost, rows = page.locator("body").inner_text(), page.evaluate(CUT), page.evaluate(LOST), page.evaluate(ROWS)
    close(page)
    assert not lost and not [entry for entry in trouble if "data:," not in entry]
    boxes = set(re.findall(rb"/MediaBox \[0 0 (\d+)[\d.]* (\d+)[\d.]*\]", pdf))
    assert boxes and boxes <= {(b"594", b"841"), (b"595", b"842")}
    return len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf)), said.replace("\xa0", " "), cut, rows


def assert_whole(said: str) -> None:
    """What every sheet tells, whatever the vessel."""
    for words in ("never replaces", "Signature", "Rank or office", "Last record", "As of 31 Oct 2026", "Rule book ", "firekpi "):
        assert words in said, words


def test_each_vessel_of_the_sample_has_one_page_with_nothing_cut(browser, site, con):
    for imo, name in con.execute("SELECT imo_number, vessel_name FROM record.vessel ORDER BY imo_number").fetchall():
        pages, said, cut, _ = print_sheet(browser, site, imo)
        assert pages == 1 and not cut and "…" not in said and name in said
        assert_whole(said)


def test_numbers_of_the_sheet_are_the_figures(browser, site, con):
    """Counted in plain SQL from the finished tables."""
    vessels = con.execute("SELECT imo_number FROM record.vessel ORDER BY imo_number").fetchall()
    checked = 0
    for (imo,) in vessels:
        _, said, _, rows = print_sheet(browser, site, imo)
        late, lines = con.execute(
            """SELECT count(*), count(DISTINCT (due_on, is_group, unit_id)) FROM figure.duty_now
            WHERE state = 'overdue' AND imo_number = $imo""",
            {"imo": imo},
        ).fetchone()
        if late:
            assert f"Overdue, longest first: {late} item" in said and sum(rows["late"]) == lines
            checked += late
        else:
            assert "Nothing is overdue on this date." in said
        against = con.execute(
            """SELECT count(DISTINCT unit_id) FILTER (verdict = 'condemn'), count(DISTINCT unit_id) FILTER (verdict = 'unfit' AND unit_id NOT IN (
                SELECT unit_id FROM figure.verdict WHERE verdict = 'condemn' AND imo_number = $imo))
            FROM figure.verdict WHERE imo_number = $imo""",
            {"imo": imo},
        ).fetchone()
        for number, word in zip(against, ("to condemn", "unfit"), strict=True):
            assert (f"{number} {word}" in said) == bool(number), (imo, number, word)
        for duty, due in con.execute(
            """SELECT title, count(*) FROM figure.duty_now JOIN (SELECT duty, min_by(title, rank) AS title FROM duty.rule GROUP BY duty) USING (duty)
            WHERE imo_number = $imo AND state = 'in time' AND due_on <= DATE '2026-10-31' + 90 GROUP BY title""",
            {"imo": imo},
        ).fetchall():
            assert re.search(rf"{duty}\t[^\n]*\t{due}(\n|$)", said, re.I), (imo, duty, due)
        for agent, units in con.execute(
            "SELECT agent, sum(units) FROM figure.agent_mix WHERE imo_number = $imo AND units > 0 GROUP BY agent", {"imo": imo}
        ).fetchall():
            assert f"{'CO2' if agent == 'co2' else agent.replace('_', ' ')} {units}" in said
    assert checked > 10


WORST = """
    SET VARIABLE day = DATE '2026-10-31';
    UPDATE figure.duty_now SET state = 'overdue', days_overdue = 1 + hash(unit_id || duty) % 900,
        due_on = getvariable('day') - (1 + hash(unit_id || duty) % 900)::INTEGER, basis_on = DATE '2015-01-01' WHERE hash(unit_id || duty) % 10 < 9;
    UPDATE figure.unit_now SET position_no = $text || unit_id, space_name = $text;
    UPDATE record.finding SET severity = 'unfit', closed_on = NULL, component = substr($text, 1, 300), defect = substr($text, 1, 300);
    INSERT INTO figure.verdict SELECT imo_number, unit_id, verdict, $text || n, rule_id, measure, value, limit_value, unit, seen_on, table_name, file_id,
        record_no, line_no FROM figure.verdict, range(5) AS r (n);
    INSERT INTO figure.number_now SELECT n.* REPLACE ($text || k AS agent, 1000000 AS required, 1000000 AS short_by) FROM figure.number_now AS n, range(20) AS r (k);
    INSERT INTO figure.agent_mix BY NAME SELECT imo_number, $text || k AS agent, 1 AS units FROM record.vessel, range(20) AS r (k)"""


@pytest.mark.parametrize("text", ["A long name of a place in the engine room, " * 4, LONG, TURNED, QUOTES, "界" * 90, "WM@%" * 40],
                         ids=["long", "endless", "turned", "quotes", "wide", "capitals"])  # fmt: skip
def test_the_worst_vessel_has_one_page(browser, tmp_path, text):
    """500 units, nine of ten duties overdue, everything found and short, and the text wherever a file may carry one."""
    db = make_fixture_db(tmp_path / "worst.duckdb", vessels=1, units=500, months=14, names=[text[:3000]])
    with duckdb.connect(str(db)) as con:
        for statement in WORST.split(";\n"):
            con.execute(statement, {"text": text[:3000]} if "$text" in statement else None)
    folder = Folder(str(tmp_path / "site"))
    start_folder(folder)
    with database.open_database(db) as con:
        context = database.read_context(con, db)
        every = vessel_data.read_all(con, context, AHEAD_DAYS)
        for page in vessel_sheet.make_pages(every, context, list(context.by_imo)):
            render.write_page(render.make_environment(), context, page, folder)
    (sheet,) = tmp_path.glob("site/vessel/*-sheet.html")
    pages, said, cut, rows = print_sheet(browser, tmp_path / "site", sheet.stem.removesuffix("-sheet"))
    assert pages == 1 and not cut
    assert_whole(said)
    assert all(rows[name][0] >= least for name, least in (("late", 4), ("against", 2), ("short", 1), ("found", 3)))
    assert sum(rows["late"]) > 500 and sum(rows["against"]) > 150 and sum(rows["found"]) > 100 and sum(rows["short"]) == 21


def test_a_vessel_without_a_record_has_one_page(browser, build_invented):
    site = build_invented(vessels=2, units=0, months=14, names=["Bare", "Bone"])
    sheets = sorted(path.stem.removesuffix("-sheet") for path in site.glob("vessel/*-sheet.html"))
    assert len(sheets) == 2
    for imo in sheets:
        pages, said, cut, _ = print_sheet(browser, site, imo)
        assert pages == 1 and not cut and "No unit is in service." in said and "on its page" in said
        assert_whole(said)


def test_the_sheet_needs_no_script(browser, site):
    with_script, without = (print_sheet(browser, site, "0001042", java_script_enabled=is_on)[:2] for is_on in (True, False))
    assert with_script == without and without[0] == 1
    assert "plotly" not in (site / "vessel/0001042-sheet.html").read_text(encoding="utf-8")


def test_it_is_read_in_the_order_in_which_it_matters(site):
    text = (site / "vessel/0001042-sheet.html").read_text(encoding="utf-8")
    names = re.findall(r'<section id="(\w+)"', text)
    assert names == ["standing", "late", "against", "ahead", "short", "found", "signed"]
    assert text.index('class="caution"') < text.index('<section id="standing"') and text.count("<h1") == 1


def test_sheet_and_page_lead_to_each_other(browser, site):
    page, _ = open_page(browser, site, "vessel/0001042")
    page.get_by_role("link", name="One-page sheet to print").click()
    assert page.url.endswith("/vessel/0001042-sheet.html")
    page.get_by_role("link", name="All of this vessel").click()
    assert page.url.endswith("/vessel/0001042.html")
    close(page)


@pytest.mark.parametrize("text", ["a b " * 50, "x" * 400, LONG[:500], "界" * 50, "", "one of 3: foam, portable, 9.0 l"])
def test_a_text_takes_three_lines_at_most_and_tells_what_it_lost(text):
    said, lines = sheet_rows.fit_text(text, 20)
    assert 1 <= lines <= sheet_rows.MOST_LINES and len(said) <= 3 * 20 + 3
    assert said == text or (said.endswith("…") and text.startswith(said[:-1]))


def test_rows_fill_the_lines_and_no_more():
    rows = [("x" * n,) for n in (5, 25, 45, 5)]
    assert [sheet_rows.fit_row(row, (20,))[1] for row in rows] == [1, 2, 3, 1]
    assert [len(sheet_rows.fit_rows(rows, (20,), lines)) for lines in (0, 1, 2, 3, 5, 6, 7, 9)] == [0, 1, 1, 2, 2, 3, 4, 4]
    assert sheet_rows.count_lines(rows, (20,), 100) == 7 and sheet_rows.count_lines(rows, (20,), 4) == 4
