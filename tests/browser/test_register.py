"""The register of all units: what it finds, sorts and saves, its address, and agreement with the figures."""

from __future__ import annotations

import csv
import io

import pytest

from tests.browser.hostile import LABEL, TURNED
from tests.browser.test_pages import close, open_page, wait_until

DRAWN = "!!document.querySelector('.register output') && document.querySelector('.register output').textContent !== ''"
ROWS = "[...document.querySelectorAll('.register tbody tr')].map(row => [...row.cells].map(cell => cell.innerText.trim()))"


def open_register(browser, site, address="", screen="desk"):
    page, trouble = open_page(browser, site, "register", screen, address)
    wait_until(page, DRAWN)
    return page, trouble


def read_found(page) -> str:
    return page.locator(".register output").inner_text()


def choose(page, label: str, option: str) -> None:
    page.locator(f".register label:has-text('{label}') select").first.select_option(option)
    page.wait_for_timeout(50)


def save_csv(page) -> list[list[str]]:
    with page.expect_download() as waiting:
        page.get_by_role("button", name="as CSV").click()
    data = open(waiting.value.path(), "rb").read()
    assert data.startswith(b"\xef\xbb\xbf") and data.count(b"\n") == data.count(b"\r\n")
    return list(csv.reader(io.StringIO(data.decode("utf-8-sig"), newline="")))


def test_it_holds_every_unit_and_its_numbers_are_those_of_the_figures(browser, site, con):
    page, trouble = open_register(browser, site)
    every = con.execute("SELECT count(DISTINCT (imo_number, unit_id)) FROM figure.unit_now").fetchone()[0]
    assert read_found(page) == f"{every} of {every} units"
    wanted = {
        "unfit": "SELECT count(DISTINCT (imo_number, unit_id)) FROM figure.verdict WHERE verdict = 'unfit'",
        "to condemn": "SELECT count(DISTINCT (imo_number, unit_id)) FROM figure.verdict WHERE verdict = 'condemn'",
        "wrong place": "SELECT count(DISTINCT (imo_number, unit_id)) FROM figure.placement_now WHERE verdict = 'placement'",
        "overdue": "SELECT count(DISTINCT (imo_number, unit_id)) FROM figure.duty_now WHERE state = 'overdue' AND NOT is_group",
        "spare": "SELECT count(DISTINCT (imo_number, unit_id)) FROM figure.unit_now WHERE counted = 'spare'",
    }
    for state, sql in wanted.items():
        choose(page, "State", state)
        (count,) = con.execute(sql).fetchone()
        assert count and read_found(page) == f"{count} of {every} units", state
    assert not [said for said in trouble if "data:," not in said]
    close(page)


def test_every_choice_and_the_search_narrow_it(browser, site, con):
    page, _ = open_register(browser, site)
    choose(page, "Vessel", "0001042")
    choose(page, "Agent", "foam (AFFF)")
    (count,) = con.execute(
        "SELECT count(DISTINCT unit_id) FROM figure.unit_now WHERE imo_number = '0001042' AND agent = 'foam' AND agent_detail = 'AFFF'"
    ).fetchone()
    assert count and read_found(page).startswith(f"{count} of ")
    page.locator(".register input").fill("engine")
    wait_until(page, "location.hash.includes('q=engine')")
    rows = page.evaluate(ROWS)
    close(page)
    assert 0 < len(rows) < count and all(
        "engine" in row[4].lower() and row[2] == "Vellamora" and row[5].startswith("foam (AFFF)") for row in rows
    )


def test_the_address_brings_back_the_same_lines(browser, site):
    page, _ = open_register(browser, site)
    choose(page, "Vessel", "0001042")
    page.locator(".register input").fill("foam")
    page.locator(".register thead button", has_text="Made").click()
    page.locator(".register thead button", has_text="Made").click()
    wait_until(page, "location.hash.includes('down')")
    address, rows, said = page.evaluate("location.hash"), page.evaluate(ROWS), page.locator(".register").inner_text()
    made = [row[6] for row in rows]
    page.go_back()
    wait_until(page, "!location.hash.includes('down')")
    assert [row[6] for row in page.evaluate(ROWS)] != made
    close(page)
    page, _ = open_register(browser, site, address)
    again = page.evaluate(ROWS), page.locator(".register").inner_text(), page.locator("th[aria-sort]").get_attribute("aria-sort")
    close(page)
    assert len(rows) > 3 and again == (rows, said, "descending")


@pytest.mark.parametrize(("column", "place"), [("Unit", 0), ("Position", 3), ("Watch list", 8)])
def test_columns_sort_as_people_count(browser, site, column, place):
    """Numbers by value, words of letters and numbers by both, and what is not known last whichever way."""
    page, _ = open_register(browser, site, "#vessel=0001042")
    button = page.locator(".register thead button", has_text=column)
    button.click()
    up = [row[place] for row in page.evaluate(ROWS)]
    button.click()
    down = [row[place] for row in page.evaluate(ROWS)]
    close(page)

    def key(word: str) -> tuple:
        head = word.rstrip("0123456789")
        return head.casefold(), int(word[len(head) :] or 0)

    known = [word for word in up if word != "\N{EN DASH}"]
    assert len(known) > 20 and known == sorted(known, key=key) and up[: len(known)] == known
    assert [key(word) for word in down[: len(known)]] == sorted(map(key, known), reverse=True)


def test_lines_go_on_page_by_page(browser, site):
    page, _ = open_register(browser, site)
    first = page.evaluate(ROWS)
    page.get_by_role("button", name="Lines after").click()
    wait_until(page, "location.hash.includes('page=2')")
    second = page.evaluate(ROWS)
    assert len(first) == len(second) == 100 and not {row[0] for row in first} & {row[0] for row in second}
    page.get_by_role("button", name="Lines before").click()
    wait_until(page, "!location.hash.includes('page')")
    assert page.evaluate(ROWS) == first
    close(page)
    page, _ = open_register(browser, site, "#page=999")
    assert 0 < len(page.evaluate(ROWS)) <= 100 and page.get_by_role("button", name="Lines after").is_disabled()
    close(page)


def test_what_is_shown_can_be_saved_and_all_of_it_is_the_csv_beside_the_page(browser, site):
    page, _ = open_register(browser, site)
    every = save_csv(page)
    choose(page, "State", "overdue")
    some, shown = save_csv(page), page.evaluate(ROWS)
    close(page)
    with (site / "data/register-units.csv").open(encoding="utf-8-sig", newline="") as file:
        twin = list(csv.reader(file))
    assert sorted(every) == sorted(twin) and every[0] == twin[0] and len(every) > 200
    assert [row[0] for row in some[1:]] == [row[0] for row in shown] and all(row in twin for row in some)


def test_units_lead_to_their_pages(browser, site):
    page, _ = open_register(browser, site)
    links = page.evaluate("[...document.querySelectorAll('.register tbody a')].map(a => a.href)")
    close(page)
    assert len(links) > 190 and all((site / link.split("/site/")[1]).is_file() for link in links)


def test_nothing_found_says_so_and_shows_all_again(browser, site):
    page, _ = open_register(browser, site, "#q=no%20such%20unit&vessel=7777777")
    assert "vessel 7777777" in page.locator(".register .note").first.inner_text()
    assert page.evaluate(ROWS) == [] and page.locator(".register .empty").is_visible()
    page.get_by_role("button", name="Show all").click()
    wait_until(page, "document.querySelectorAll('.register tbody tr').length > 50")
    assert page.evaluate("document.activeElement.type") == "search" and page.evaluate("location.hash") == ""
    close(page)


def test_keyboard_alone(browser, site):
    page, _ = open_register(browser, site)
    page.locator(".register input").focus()
    page.keyboard.type("foam")
    page.keyboard.press("Tab")
    page.keyboard.press("ArrowDown")
    wait_until(page, "location.hash.includes('vessel=')")
    for _ in range(20):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.textContent") == "Made":
            break
    page.keyboard.press("Enter")
    wait_until(page, "location.hash.includes('sort=made')")
    assert page.evaluate("document.activeElement.textContent") == "Made" and "q=foam" in page.evaluate("location.hash")
    close(page)


def test_without_script_it_leads_to_the_vessels_and_the_csv(browser, site):
    page, _ = open_page(browser, site, "register", java_script_enabled=False)
    assert (
        page.get_by_role("link", name="Vellamora").is_visible()
        and page.get_by_role("link", name="All of them as CSV").is_visible()
    )
    close(page)


@pytest.mark.parametrize(("vessels", "units"), [(0, 0), (1, 1), (2, 0)])
def test_small_fleets(browser, build_invented, vessels, units):
    site = build_invented(vessels=vessels, units=units, months=2)
    page, trouble = open_page(browser, site, "register")
    if units:
        wait_until(page, DRAWN)
        assert read_found(page) == "1 of 1 unit"
    else:
        assert "Load a register of units" in page.locator("main").inner_text()
    close(page)
    assert not [said for said in trouble if "data:," not in said]


def test_hostile_words_stay_words(browser, build_invented):
    site = build_invented(vessels=2, units=3, months=2, names=[LABEL, TURNED])
    page, trouble = open_register(browser, site)
    foreign, hit = (
        page.locator(".register b, .register img, .register a[href^='javascript']").count(),
        page.evaluate("window.hit"),
    )
    said = page.evaluate(ROWS)
    close(page)
    assert foreign == 0 and hit is None and len(said) >= 4 and any("<b>bold</b>" in row[2] for row in said)
    assert not [entry for entry in trouble if "data:," not in entry]
