"""Every page in a browser, on a desk and on a phone, dark, printed, and without script."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

PAGES = [
    "index",
    "register",
    "overdue",
    "fitness",
    "defects",
    "corrosion",
    "agents",
    "watch-list",
    "data-quality",
    "method",
    "vessel/0001042",
    "vessel/0001016",
    "unit/vor-100309",
    "list/fleet/against",
]
CHARTED = [name for name in PAGES if name not in ("method", "register") and not name.startswith(("unit", "list"))]
SCREENS = {"desk": (1280, 900), "phone": (390, 844)}
WIDEST_PRINT_PX = 688  # A4 less our margins: 182 mm at 96 px an inch

FIND_CHARTS = """() => [...document.querySelectorAll('.chart')].map(box => {
    const svg = box.querySelector('svg.main-svg'), frame = box.getBoundingClientRect();
    const marks = [...box.querySelectorAll('.points path, .lines path, .point path, path.js-line, .textpoint text')]
        .filter(mark => mark.tagName === 'text' || (mark.getAttribute('d') || '').length > 8);
    const cut = [...box.querySelectorAll('svg.main-svg text')].filter(text => text.textContent.trim())
        .filter(text => { const r = text.getBoundingClientRect(); return r.left < frame.left - 2 || r.right > frame.right + 2; })
        .map(text => text.textContent);
    return {id: box.id, drawn: !!svg, marks: marks.length, cut, width: svg ? svg.getBoundingClientRect().width : 0,
        room: frame.width};
})"""


# Pages at rest, by what their context was made with. A new window costs chromium two to three times what a page of the site does.
RESTING: dict[tuple, list[Page]] = {}
HEARD = ("console", "pageerror", "request", "dialog")


def open_page(
    browser: Browser, site: Path, name: str, screen: str = "desk", address: str = "", **context
) -> tuple[Page, list[str]]:
    """A page with everything that it complained of or asked for from outside."""
    width, height = SCREENS[screen]
    key = (id(browser), tuple(sorted(context.items())))
    page = RESTING[key].pop() if RESTING.get(key) else browser.new_context(**context).new_page()
    page.set_viewport_size({"width": width, "height": height})
    page.emulate_media(media="null", color_scheme=context.get("color_scheme", "light"))
    trouble: list[str] = []
    tellers = (
        lambda said: trouble.append(f"console: {said.text}"),
        lambda error: trouble.append(f"error: {error}"),
        lambda asked: trouble.append(f"asked: {asked.url}") if not asked.url.startswith("file:") else None,
        lambda dialog: trouble.append(f"dialog: {dialog.message}"),
    )
    for event, tell in zip(HEARD, tellers, strict=True):
        page.on(event, tell)
    page.kept = (key, tellers)
    page.goto((site / f"{name}.html").as_uri() + address)
    return page, trouble


def wait_until(page: Page, question: str) -> None:
    """Ask until the page says yes; the content-security-policy keeps playwright's own waiting from working."""
    for _ in range(100):
        if page.evaluate(question):
            return
        page.wait_for_timeout(50)
    raise AssertionError(f"never true: {question}")


def close(page: Page) -> None:
    """Leave the site; the window stays for the next test."""
    key, tellers = page.kept
    for event, tell in zip(HEARD, tellers, strict=True):
        page.remove_listener(event, tell)
    page.goto("about:blank")
    RESTING.setdefault(key, []).append(page)


def assert_fits(name: str, screen: str, charts: list[dict], width: int, trouble: list[str]) -> None:
    """Nothing asked for or complained of, no page wider than its screen, every chart drawn within its box."""
    assert not [said for said in trouble if "data:," not in said]
    assert width <= SCREENS[screen][0], "the page is wider than the screen"
    assert bool(charts) == (name in CHARTED)
    for chart in charts:
        assert chart["drawn"] and chart["marks"] > 0, chart
        assert chart["width"] <= chart["room"] + 1, chart
        assert not chart["cut"], chart


@pytest.mark.parametrize("name", PAGES)
def test_page_is_quiet_and_draws_every_chart_on_a_phone(browser, site, name):
    page, trouble = open_page(browser, site, name, "phone")
    charts = page.evaluate(FIND_CHARTS)
    width = page.evaluate("document.documentElement.scrollWidth")
    close(page)
    assert_fits(name, "phone", charts, width, trouble)


@pytest.mark.parametrize("name", PAGES)
def test_page_fits_a_desk_and_prints_on_a4_light_though_it_was_dark(browser, site, name):
    """One load for both: opening a page and its charts is what costs here."""
    page, trouble = open_page(browser, site, name, "desk", color_scheme="dark")
    charts, width = page.evaluate(FIND_CHARTS), page.evaluate("document.documentElement.scrollWidth")
    assert_fits(name, "desk", charts, width, trouble)
    page.emulate_media(media="print")
    wait_until(page, "document.documentElement.classList.contains('printing')")
    charts = page.evaluate(FIND_CHARTS)
    ground = page.evaluate("getComputedStyle(document.documentElement).getPropertyValue('--ground').trim()")
    fills = page.evaluate(
        "[...document.querySelectorAll('svg.main-svg text')].map(text => getComputedStyle(text).fill).slice(0, 5)"
    )
    caution = page.locator(".caution").is_visible()
    page.emulate_media(media="screen")
    pdf = page.pdf(prefer_css_page_size=True)
    close(page)
    assert caution, "the caution does not print"
    assert ground == "#fcfcfd", "the dark scheme prints"
    assert all(chart["marks"] and chart["width"] <= WIDEST_PRINT_PX and not chart["cut"] for chart in charts), charts
    assert "rgb(234, 232, 241)" not in fills, "chart text is light on white paper"
    boxes = set(re.findall(rb"/MediaBox \[0 0 (\d+)[\d.]* (\d+)[\d.]*\]", pdf))
    assert boxes and boxes <= {(b"594", b"841"), (b"595", b"842")}, boxes
    assert not [said for said in trouble if "data:," not in said]


def test_printed_tables_repeat_their_head(browser, site):
    page, _ = open_page(browser, site, "vessel/0001042")
    page.emulate_media(media="print")
    heads = page.evaluate("[...document.querySelectorAll('thead')].map(head => getComputedStyle(head).display)")
    # A control in the head keeps chromium from repeating it, unless it makes no box.
    buttons = page.evaluate("[...document.querySelectorAll('thead button')].map(b => getComputedStyle(b).display)")
    tools = page.locator(".tools").first.is_visible()
    close(page)
    assert heads and set(heads) == {"table-header-group"}
    assert buttons and set(buttons) == {"contents"}
    assert not tools


def test_printed_vessel_has_room_to_note_and_paths_keep_their_width(browser, site):
    page, _ = open_page(browser, site, "vessel/0001042")
    done = page.locator("#vessel-0001042-table-overdue .paper")
    assert done.count() > 1 and not done.first.is_visible()
    page.emulate_media(media="print")
    widths = page.evaluate("[...document.querySelectorAll('td.file_line')].map(cell => cell.getBoundingClientRect().width)")
    visible = done.first.is_visible()
    close(page)
    assert visible and widths and min(widths) > 120, "32 mm are 121 px"


def test_phone_is_told_that_a_table_scrolls_and_can_hit_its_links(browser, site):
    page, _ = open_page(browser, site, "vessel/0001042", "phone")
    hints = page.evaluate(
        "[...document.querySelectorAll('.scroll')].map(b => [b.scrollWidth > b.clientWidth + 4, !b.previousElementSibling.hidden])"
    )
    heights = page.evaluate("[...document.querySelectorAll('a[download]')].map(a => a.getBoundingClientRect().height)")
    seen = page.evaluate(
        "[...document.querySelectorAll('#vessel-0001042-table-overdue thead th')].filter(h => h.getBoundingClientRect().right <= 390)"
        ".map(h => h.textContent.trim())"
    )
    close(page)
    assert {wide for wide, _ in hints} == {True, False} and all(wide == told for wide, told in hints)
    assert heights and min(heights) >= 24
    assert seen[:3] == ["Unit or group", "Due", "Days overdue"]


def test_tables_have_captions_and_fold_only_by_script(browser, site):
    page, _ = open_page(browser, site, "overdue")
    captions = page.evaluate("[...document.querySelectorAll('table')].map(t => t.caption ? t.caption.textContent.trim() : '')")
    assert captions and all(captions)
    assert page.locator("details[open]").count() == 0 and page.locator("details").count() > 3
    close(page)
    page, _ = open_page(browser, site, "overdue", java_script_enabled=False)
    assert page.locator("details:not([open])").count() == 0
    close(page)


def test_dark_scheme_redraws_charts(browser, site):
    page, _ = open_page(browser, site, "overdue", color_scheme="light")
    read_ink = "getComputedStyle(document.querySelector('.chart svg.main-svg .xtick text')).fill"
    light = page.evaluate(read_ink)
    page.emulate_media(color_scheme="dark")
    wait_until(page, f"({read_ink}) !== {light!r}")
    assert page.evaluate(read_ink) == "rgb(234, 232, 241)"
    close(page)


def test_charts_follow_the_width(browser, site):
    page, _ = open_page(browser, site, "overdue")
    wide = page.evaluate(FIND_CHARTS)
    page.set_viewport_size({"width": 390, "height": 844})
    wait_until(page, "document.querySelector('.chart svg.main-svg').getBoundingClientRect().width < 400")
    narrow = page.evaluate(FIND_CHARTS)
    close(page)
    assert all(n["width"] < w["width"] and n["width"] <= n["room"] + 1 for n, w in zip(narrow, wide, strict=True))


def test_no_inline_script_runs(browser, site):
    page, trouble = open_page(browser, site, "index")
    page.evaluate(
        "() => { const s = document.createElement('script'); s.textContent = 'window.ran = 1'; document.body.append(s); }"
    )
    assert page.evaluate("window.ran") is None
    assert any("Content Security Policy" in said for said in trouble)
    close(page)


def test_register_searches_filters_and_sorts(browser, site):
    page, _ = open_page(browser, site, "vessel/0001042")
    table, tools = page.locator("table[data-register]"), page.locator(".tools")
    rows = table.locator("tbody tr")
    every = rows.count()
    assert tools.locator("output").inner_text() == f"{every} of {every} shown"
    tools.locator("select").nth(2).select_option("foam")
    foam = table.locator("tbody tr:visible").count()
    agents = table.locator("tbody tr:visible td:nth-child(7)").all_inner_texts()
    assert 0 < foam < every and set(agents) == {"foam"}
    tools.locator("input").fill("no such unit anywhere")
    assert table.locator("tbody tr:visible").count() == 0
    assert tools.locator("output").inner_text() == f"0 of {every} shown"
    tools.locator("input").fill("")
    tools.locator("select").nth(2).select_option("")
    head = table.locator("thead th", has_text="Made")
    head.locator("button").focus()
    page.keyboard.press("Enter")
    made = [cell.get_attribute("data-sort") for cell in table.locator("tbody td:nth-child(9)").all()]
    known = [day for day in made if day]
    assert head.get_attribute("aria-sort") == "ascending"
    assert len(made) == every and known == sorted(known) and made[: len(known)] == known
    page.keyboard.press("Enter")
    made = [
        cell.get_attribute("data-sort")
        for cell in table.locator("tbody td:nth-child(9)").all()
        if cell.get_attribute("data-sort")
    ]
    assert head.get_attribute("aria-sort") == "descending" and made == sorted(made, reverse=True)
    close(page)


def test_everything_reads_without_script(browser, site):
    page, _ = open_page(browser, site, "vessel/0001042", java_script_enabled=False)
    assert page.locator("table[data-register] tbody tr").first.is_visible()
    assert not page.locator(".chart").first.is_visible()
    assert page.locator("details.twin table").first.is_visible(), "the numbers of a chart are folded away without script"
    close(page)


def test_keyboard_reaches_the_content_first(browser, site):
    page, _ = open_page(browser, site, "index")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Skip to the content"
    page.keyboard.press("Enter")
    wait_until(page, "location.hash === '#main'")  # the browser goes there after the key, not with it
    close(page)


def test_hostile_names_stay_text(browser, build_invented):
    names = [
        '<script>alert("a")</script>',
        "</script><img src=x onerror=alert(1)>",
        "=1+1",
        "<b>bold</b> & %{x} <a href='x'>y</a>",
    ]
    site = build_invented(vessels=4, units=6, months=14, names=names)
    for name in ["index", "overdue", "agents", "defects", "vessel/9000003", "vessel/9000376"]:
        page, trouble = open_page(browser, site, name)
        said = page.locator("body").inner_text()
        charts = page.evaluate(FIND_CHARTS)
        foreign = page.locator("main img, main script:not([type='application/json']), main b:not(.facts b)").count()
        close(page)
        assert not [entry for entry in trouble if "data:," not in entry], trouble
        assert foreign == 0 and all(chart["marks"] for chart in charts)
        assert names[0] in said or name != "index"


def test_long_names_wrap_on_a_phone(browser, build_invented):
    site = build_invented(vessels=2, units=40, months=26, names=["L" + "o" * 150 + "ng", "The " + "Very " * 30 + "Long"])
    for name in ["index", "overdue", "agents", "defects", "vessel/9000003"]:
        page, trouble = open_page(browser, site, name, "phone")
        width, charts = page.evaluate("document.documentElement.scrollWidth"), page.evaluate(FIND_CHARTS)
        close(page)
        assert width <= SCREENS["phone"][0] and not [chart["cut"] for chart in charts if chart["cut"]], name
        assert not [said for said in trouble if "data:," not in said]
