"""A part of the fleet that the reader chooses: sums of the script against queries of the figures, and the choice in the address."""

from __future__ import annotations

import csv
import re

import pytest
from scipy import stats

from tests.browser.screenshots import HOUSE
from tests.browser.test_pages import close, open_page, wait_until

READ = """() => ({said: document.querySelector('.choose .part').textContent, strange: document.querySelector('.choose .note').hidden ? '' :
    document.querySelector('.choose .note').textContent, rows: [...document.querySelectorAll('.choose tbody tr')].map(row =>
        [...row.cells].slice(0, 4).map(cell => cell.textContent)), address: location.hash})"""
SETTLED = "!!document.querySelector('.choose .part') && document.querySelector('.choose .part').textContent !== ''"


def choose(browser, site, name, address="", screen="desk"):
    """The page opened at an address, and what it says there."""
    page, trouble = open_page(browser, site, name, screen, address)
    wait_until(page, SETTLED)
    return page, page.evaluate(READ), trouble


def number(text: str) -> float:
    return float(re.sub(r"[^\d.]", "", text))


def test_the_whole_is_what_the_figures_say(browser, site, con):
    """Every vessel's last twelve months, against figure.overdue_monthly, which is not made from the parts."""
    page, told, trouble = choose(browser, site, "overdue")
    close(page)
    wanted = con.execute(
        """SELECT vessel_name, sum(overdue_unit_days)::BIGINT, sum(unit_days)::BIGINT FROM figure.overdue_monthly JOIN record.vessel USING (imo_number)
        WHERE duty = '*' AND month_end > (SELECT max(month_end) FROM figure.overdue_monthly) - INTERVAL 365 DAY GROUP BY ALL"""
    ).fetchall()
    assert {row[0]: (number(row[1]), number(row[2])) for row in told["rows"]} == {
        name: (late, days) for name, late, days in wanted
    }
    late, units = con.execute(
        "SELECT overdue, units FROM figure.overdue_monthly WHERE duty = '*' AND imo_number = '*' ORDER BY month_end DESC LIMIT 1"
    ).fetchone()
    assert f"On 31\N{NO-BREAK SPACE}Oct\N{NO-BREAK SPACE}2026, {late} of {units} units were overdue." in told["said"] and told[
        "said"
    ].startswith("Whole fleet, Nov 2025 to Oct 2026")
    assert not [said for said in trouble if "data:," not in said]


def test_a_vessel_an_agent_and_a_year_by_month(browser, site, con):
    page, told, _ = choose(browser, site, "overdue", "#choose&vessel=0001042&agent=foam&month=2025&by=month")
    close(page)
    wanted = con.execute(
        """SELECT sum(overdue_unit_days)::BIGINT, sum(unit_days)::BIGINT FROM figure.overdue_part
        WHERE imo_number = '0001042' AND agent = 'foam' AND year(month_end) = 2025 GROUP BY month_end ORDER BY month_end"""
    ).fetchall()
    assert len(wanted) == 12 and [(number(row[1]), number(row[2])) for row in told["rows"]] == wanted
    assert [row[0] for row in told["rows"]][::11] == ["Jan 2025", "Dec 2025"]


@pytest.mark.parametrize("year", ["2024", "2025"])
def test_defects_of_a_year_have_the_rate_and_limits_of_the_figure(browser, site, con, year):
    page, told, _ = choose(browser, site, "defects", f"#choose&month={year}&by=vessel")
    close(page)
    wanted = con.execute(
        """SELECT vessel_name, findings, unit_years, per_100_unit_years, low, high, is_rated FROM figure.defect_rate JOIN record.vessel USING (imo_number)
        WHERE period = $year AND (component, defect, agent, space_category, maker, provider) = ('*', '*', '*', '*', '*', '*')""",
        {"year": year},
    ).fetchall()
    shown = {row[0]: row for row in told["rows"]}
    assert len(wanted) == len(shown) > 3
    for name, findings, years, *rate, is_rated in wanted:
        assert number(shown[name][1]) == findings and abs(number(shown[name][2]) - years) < 0.0501
        said = [float(part) for part in re.findall(r"\d+\.\d", shown[name][3])]
        assert (not said and not is_rated) or all(abs(a - b) < 0.0501 for a, b in zip(said, rate, strict=True)), name


def test_corrosion_by_age_has_the_shares_and_limits_of_the_figure(browser, site, con):
    page, told, _ = choose(browser, site, "corrosion")
    close(page)
    wanted = con.execute(
        """SELECT age_band_years, units_corroded, units, 100 * share, 100 * low, 100 * high FROM figure.corrosion_by_age
        WHERE (agent, lining, space_category) = ('*', '*', '*') ORDER BY regexp_extract(age_band_years, '^[0-9]+')::INTEGER"""
    ).fetchall()
    assert [row[0] for row in told["rows"]] == [row[0] for row in wanted]
    for shown, (_, corroded, units, *share) in zip(told["rows"], wanted, strict=True):
        assert (number(shown[1]), number(shown[2])) == (corroded, units)
        said = [float(part) for part in re.findall(r"\d+\.\d", shown[3])]
        assert (units < 10 and not said) or all(abs(a - b) < 0.0501 for a, b in zip(said, share, strict=True))


def test_agents_add_up_to_the_fleet(browser, site, con):
    page, told, _ = choose(browser, site, "agents", "#choose&by=agent")
    close(page)
    wanted = dict(con.execute("SELECT agent, sum(units)::BIGINT FROM figure.agent_mix WHERE units > 0 GROUP BY agent").fetchall())
    assert sorted(number(row[1]) for row in told["rows"]) == sorted(wanted.values())
    assert told["said"] == f"Whole fleet: {sum(wanted.values())} units in service."


def test_the_choice_goes_into_the_address_and_back(browser, site):
    page, first, _ = choose(browser, site, "defects")
    page.locator(".choose select").first.select_option(label="Vellamora")
    page.locator(".choose select").last.select_option("agent")
    wait_until(page, "location.hash.includes('by=agent')")
    chosen = page.evaluate(READ)
    assert chosen["address"].startswith("#choose&vessel=") and chosen["said"].startswith("Vellamora, ") != first[
        "said"
    ].startswith("Vellamora")
    page.go_back()
    wait_until(page, "!location.hash.includes('by=agent')")
    page.go_back()
    wait_until(page, "location.hash === ''")
    assert page.evaluate(READ) == first
    close(page)
    page, again, _ = choose(browser, site, "defects", chosen["address"])
    close(page)
    assert again == chosen


def test_an_address_of_something_else_says_so_and_shows_all(browser, site):
    page, told, trouble = choose(browser, site, "agents", "#choose&vessel=9999993&%E0%A4%A&colour=<b>red</b>")
    bold = page.locator(".choose b").count()
    close(page)
    assert "vessel 9999993" in told["strange"] and "colour" in told["strange"] and told["said"].startswith("Whole fleet")
    assert bold == 0 and not [said for said in trouble if "data:," not in said]


def test_a_choice_of_nothing_says_so(browser, site):
    page, told, _ = choose(browser, site, "agents", "#choose&agent=wet_chemical&space=open_deck")
    close(page)
    assert told["rows"] == [] and told["said"].endswith("nothing to count. Choose fewer things at once.")


def test_a_large_file_waits_to_be_asked_for(browser, site):
    page, _ = open_page(browser, site, "agents", java_script_enabled=False)
    assert page.locator(".unscripted").is_visible() and page.locator(".choose").inner_text() == ""
    close(page)
    page, _ = open_page(browser, site, "method")
    page.goto("about:blank")
    page.add_init_script(
        "document.addEventListener('readystatechange', () => document.querySelectorAll('.choose').forEach(b => { b.dataset.bytes = 8600000; }))"
    )
    page.goto((site / "agents.html").as_uri())
    button = page.get_by_role("button", name="reads 8.6 MB")
    assert button.is_visible() and page.locator(".choose table").count() == 0
    button.click()
    wait_until(page, SETTLED)
    page.context.close()


def test_the_csv_holds_what_is_added_up(site, con):
    with (site / "data/overdue-parts.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    days, late = con.execute("SELECT sum(unit_days)::BIGINT, sum(overdue_unit_days)::BIGINT FROM figure.overdue_part").fetchone()
    assert (sum(int(r["unit_days"]) for r in rows), sum(int(r["overdue_unit_days"]) for r in rows)) == (days, late)


def test_parts_add_up_to_every_month_and_vessel(con):
    differing = con.execute(
        """SELECT count(*) FROM (SELECT month_end, imo_number, sum(units) AS u, sum(overdue) AS o, sum(unit_days) AS d, sum(overdue_unit_days) AS l
            FROM figure.overdue_part GROUP BY ALL) FULL JOIN (SELECT * FROM figure.overdue_monthly WHERE duty = '*' AND imo_number <> '*'
            AND month_end >= (SELECT min(month_end) FROM figure.overdue_part)) AS m USING (month_end, imo_number)
        WHERE (u, o, d, l) IS DISTINCT FROM (units, overdue, m.unit_days, overdue_unit_days)"""
    ).fetchone()
    assert differing == (0,) and con.execute("SELECT count(*) > 100 FROM figure.overdue_part").fetchone() == (True,)


def test_limits_beyond_the_table_are_within_a_thousandth(browser, site):
    """The page's own Byar approximation against Garwood's limits of scipy, at 2,001 events and more."""
    script = (HOUSE / "dashboards/assets/choose.js").read_text(encoding="utf-8")
    constant, own = re.search(r"\bZ = ([\d.]+)", script)[1], re.search(r"function garwood\(.*?\n  }\n", script, re.S)[0]
    page, _, _ = choose(browser, site, "defects")
    page.goto("about:blank")
    for events in (2001, 50_000):
        low, high = page.evaluate(f"n => {{ const Z = {constant}; {own} return garwood(n, {{low: [], high: []}}); }}", events)
        assert low == pytest.approx(stats.chi2.ppf(0.025, 2 * events) / 2, rel=1e-3)
        assert high == pytest.approx(stats.chi2.ppf(0.975, 2 * events + 2) / 2, rel=1e-3)
    page.context.close()
