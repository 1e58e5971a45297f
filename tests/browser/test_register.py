"""The register of all units: what it finds, sorts and saves, its address, and agreement with the figures."""

from __future__ import annotations

import csv
import io
import re

import pytest

from tests.browser.hostile import FORMULA, LABEL, QUOTES, TURNED
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


def save_bytes(page) -> bytes:
    with page.expect_download() as waiting:
        page.get_by_role("button", name="as CSV").click()
    with open(waiting.value.path(), "rb") as file:
        return file.read()


def save_csv(page) -> list[list[str]]:
    data = save_bytes(page)
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
    assert every == twin and len(every) > 200
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


def test_keys_lead_to_the_first_line_and_past_all_of_them(browser, site):
    page, _ = open_register(browser, site)
    page.locator(".register input").focus()
    page.keyboard.type("ASQ-1000")
    page.keyboard.press("Enter")
    first = page.locator(".register tbody tr th a").first.inner_text()
    assert first.startswith("ASQ-1000") and page.evaluate("document.activeElement.textContent") == first
    page.get_by_role("button", name="Past the lines of this page").focus()
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.closest('.turn') !== null")
    close(page)


@pytest.mark.parametrize(("address", "said"), [("#sort=evil", "sort evil"), ("#colour=red", "colour"), ("#vessel=1", "vessel 1")])
def test_what_the_address_can_not_ask_is_said(browser, site, address, said):
    page, _ = open_register(browser, site, address)
    assert f"({said})" in page.locator(".register .note").first.inner_text()
    close(page)


def test_nine_litres_are_no_nineteen_and_a_page_beyond_the_last_is_the_last(browser, site, con):
    page, _ = open_register(browser, site, "#q=9%20l&page=99")
    wanted = con.execute("select count(distinct (imo_number, unit_id)) from figure.unit_now where charge_l = 9").fetchone()[0]
    assert page.locator(".register output").inner_text().startswith(f"{wanted} of ")
    assert page.evaluate("location.hash") == "#q=9%20l"
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


@pytest.mark.parametrize(("label", "column"), [("Agent", "agent"), ("Kind of space", "space_category")])
def test_every_value_of_a_choice_finds_its_units(browser, site, label, column):
    with (site / "data/register-units.csv").open(encoding="utf-8-sig", newline="") as file:
        twin = [row[column] for row in csv.DictReader(file)]
    page, _ = open_register(browser, site)
    select = page.locator(f".register label:has-text('{label}') select").first
    options = select.evaluate("select => [...select.options].slice(1).map(option => option.value)")
    assert sorted(options) == sorted(set(twin)) and len(options) > 3
    found = {}
    for option in options:
        select.select_option(option)
        page.wait_for_timeout(50)
        found[option] = int(read_found(page).split(" ")[0])
    close(page)
    assert found == {option: twin.count(option) for option in options}


def test_overdue_says_for_what_and_since_when(browser, site, con):
    page, _ = open_register(browser, site, "#state=overdue&sort=due")
    rows = page.evaluate(ROWS)
    close(page)
    items = con.execute(
        "SELECT unit_id, count(*), min(due_on) FROM figure.duty_now WHERE state = 'overdue' AND NOT is_group GROUP BY imo_number, unit_id"
    ).fetchall()
    first = {unit: due.strftime("was due %-d %b %Y, ") for unit, _, due in items}
    late = {row[0]: re.search("overdue for ([^\n]*)", row[1])[1].strip() for row in rows}
    assert {unit: len(said.split(", ")) for unit, said in late.items()} == {unit: n for unit, n, _ in items}
    assert all(row[7].replace("\u00a0", " ").startswith(first[row[0]]) for row in rows) and max(n for _, n, _ in items) > 1
    dues = {unit: due for unit, _, due in items}
    assert [dues[row[0]] for row in rows] == sorted(dues.values())


def test_vessels_and_the_fleet_lead_to_it(browser, site, con):
    page, _ = open_page(browser, site, "vessel/0001042")
    link = page.locator("#register a[href*='register.html#']")
    link.click()
    wait_until(page, DRAWN)
    (count,) = con.execute("SELECT count(DISTINCT unit_id) FROM figure.unit_now WHERE imo_number = '0001042'").fetchone()
    said, chosen = read_found(page), page.locator(".register select").first.evaluate("select => select.selectedOptions[0].text")
    page.goto((site / "index.html").as_uri())
    assert page.locator("main a[href='register.html']").count() == 1
    close(page)
    assert said.startswith(f"{count} of ") and chosen == "Vellamora" and count


def test_a_sheet_of_paper_tells_what_was_asked(browser, site):
    page, _ = open_register(browser, site, "#q=foam&vessel=0001042&sort=made&down")
    page.emulate_media(media="print")
    said = page.locator(".register caption").inner_text()
    hidden = not page.locator(".register .tools").is_visible() and not page.locator(".register .turn").is_visible()
    caution = page.locator(".opening .caution").is_visible()
    close(page)
    assert said.endswith(": found by “foam”, vessel Vellamora, sorted by made from the last") and hidden and caution


def test_the_skip_link_keeps_what_is_shown(browser, site):
    page, _ = open_register(browser, site, "#q=foam&sort=made")
    rows, address = page.evaluate(ROWS), page.evaluate("location.hash")
    page.locator(".skip").focus()
    page.keyboard.press("Enter")
    wait_until(page, f"location.hash === '{address}'")
    assert page.evaluate(ROWS) == rows and page.locator(".register input").input_value() == "foam"
    page.keyboard.press("Tab")
    inside = page.evaluate("document.querySelector('main').contains(document.activeElement)")
    close(page)
    assert inside


def test_the_last_page_of_lines_keeps_the_focus_on_a_button(browser, site):
    page, _ = open_register(browser, site, "#page=2")
    page.get_by_role("button", name="Lines after").focus()
    page.keyboard.press("Enter")
    wait_until(page, "location.hash.includes('page=3')")
    assert page.get_by_role("button", name="Lines after").is_disabled()
    assert page.evaluate("document.activeElement.textContent") == "Lines before"
    page.keyboard.press("Enter")
    wait_until(page, "location.hash.includes('page=2')")
    close(page)


def test_what_is_saved_is_the_csv_of_the_site_byte_by_byte_whatever_the_words(browser, build_invented):
    names = [FORMULA, "+1\ufeff", "+1 000", "'=1", "\uff1d1", QUOTES, TURNED, "a,b;\u00a0c", "W" * 300]
    site = build_invented(vessels=len(names), units=3, months=2, names=names)
    page, _ = open_register(browser, site)
    saved, rows = save_bytes(page), page.evaluate(ROWS)
    close(page)
    assert saved == (site / "data/register-units.csv").read_bytes()
    assert not any(mark in cell for row in rows for cell in row for mark in "\u202e\u2066\u0007") and "\ufffd" in str(rows)
    assert max(len(row[2]) for row in rows) == 40


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
