"""The year ahead of a vessel by calendar month: its numbers against the figures, its edges, and notes on paper."""

from __future__ import annotations

from datetime import date, timedelta

import duckdb

from dashboards import words
from dashboards.site import build_site
from tests.browser.make_fixture_db import make_fixture_db
from tests.browser.read_site import read_page, read_twin
from tests.browser.test_pages import close, open_page

DAY, FIRST, SECOND = date(2026, 10, 31), "9000003", "9000376"
YEAR = """
    SELECT month(due_on) AS m, year(due_on) AS y, title, count(*) AS due, min(due_on), max(due_on)
    FROM figure.duty_now JOIN (SELECT duty, min_by(title, rank) AS title, min(interval_months) AS months FROM duty.rule GROUP BY duty) USING (duty)
    WHERE imo_number = $imo AND state = 'in time' AND due_on - DATE '2026-10-31' <= if(months BETWEEN 1 AND 3, 90, 365)
    GROUP BY ALL"""


def test_months_are_the_figures(site, con):
    """Every vessel, counted in plain SQL; the numbers lead to lists (test_drill.py holds each list against its number)."""
    checked = 0
    for (imo,) in con.execute("SELECT imo_number FROM record.vessel").fetchall():
        wanted = {
            (words.say_month(date(y, m, 1)), title): (str(due), str(first), str(last))
            for m, y, title, due, first, last in con.execute(YEAR, {"imo": imo}).fetchall()
        }
        rows = read_twin(site / f"data/vessel/{imo}-months.csv")
        assert {(r["month"], r["duty"]): (r["due"], r["first_on"], r["last_on"]) for r in rows} == wanted
        text = (site / f"vessel/{imo}.html").read_text(encoding="utf-8")
        part = text[text.index('<section id="months"') : text.index('<section id="due"')]
        assert part.count("data-count=") == len(wanted) == len(rows)
        checked += len(rows)
    assert checked > 30


def test_the_last_day_of_a_window_counts_and_the_next_does_not(tmp_path):
    """Rounds to the 90th day, services to the 365th; the day itself counts; months come in order."""
    days = {"onboard_check": (0, 90, 91), "annual_service": (0, 1, 90, 91, 365, 366)}
    rule = {"onboard_check": "check", "annual_service": "annual"}
    due = ", ".join(
        f"('{FIRST}', 'U-{n}', false, '{duty}', '{rule[duty]}', DATE '{DAY + timedelta(n)}', DATE '2020-01-01', 'in time')"
        for duty, ns in days.items()
        for n in ns
    )
    db = make_fixture_db(tmp_path / "a.duckdb", vessels=2, units=4, months=3)
    with duckdb.connect(str(db)) as con:
        con.execute("DELETE FROM figure.duty_now")
        con.execute(
            f"INSERT INTO figure.duty_now (imo_number, unit_id, is_group, duty, rule_id, due_on, basis_on, state) VALUES {due}"
        )
    build_site(db, tmp_path / "site")
    rows = [(r["month"], r["duty"], r["due"]) for r in read_twin(tmp_path / f"site/data/vessel/{FIRST}-months.csv")]
    assert rows == [
        ("Oct 2026", "onboard check", "1"), ("Oct 2026", "annual service", "1"), ("Nov 2026", "annual service", "1"), ("Jan 2027", "onboard check", "1"),
        ("Jan 2027", "annual service", "2"), ("Oct 2027", "annual service", "1"),
    ]  # fmt: skip
    assert "Nothing falls due within 365 days of this date." in (tmp_path / f"site/vessel/{SECOND}.html").read_text(
        encoding="utf-8"
    )
    # The lists of 90 days have not grown with the year.
    assert {row[2] for row in read_page(tmp_path / f"site/vessel/{FIRST}.html").tables["due"][1:]} == {
        "U-0",
        "U-1",
        "U-90",
        "1 unit",
    }


def test_a_note_is_no_button_and_stands_on_paper(browser, site):
    page, _ = open_page(browser, site, "vessel/0001042")
    note = page.locator("p.note.plain", has_text="To import into a calendar")
    assert note.evaluate("note => getComputedStyle(note).borderTopWidth") == "0px"
    page.emulate_media(media="print")
    assert note.is_visible()
    close(page)
