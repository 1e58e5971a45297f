"""WCAG 2.2 AA as far as a machine can tell: axe-core on every page, reflow at 400 %, spaced text, keyboard alone, no motion.

Sources: W3C, Web Content Accessibility Guidelines 2.2 (criteria named beside each check, wording and numbers from memory);
the rules of axe-core 4.12 as the package axe-playwright-python carries it.
"""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe

from tests.browser.test_pages import PAGES, close, open_page, wait_until

TAGS = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice")
AXE = Axe()
FEW = ("index", "register", "vessel/0001042", "unit/vor-100309")  # of every kind of page one, where all take long
# 1.4.12: line height 1.5, space after paragraphs 2, letters 0.12, words 0.16 times the size of the font.
SPACED = "* { line-height: 1.5 !important; letter-spacing: 0.12em !important; word-spacing: 0.16em !important; } p { margin-bottom: 2em !important; }"
FIND_WIDE = """(room) => [...document.querySelectorAll('main *, header *, footer *')].filter(part => !part.closest('.scroll, svg'))
    .filter(part => part.getBoundingClientRect().right > room + 1 && part.getClientRects().length).map(part => part.outerHTML.slice(0, 120))"""
FIND_CUT = """() => [...document.querySelectorAll('p, li, dt, dd, h1, h2, h3, button, summary, th, td')]
    .filter(part => part.getClientRects().length && getComputedStyle(part).overflowX !== 'visible' && part.scrollWidth > part.clientWidth + 2)
    .map(part => part.outerHTML.slice(0, 120))"""
REACHED = """() => { const part = document.activeElement, style = getComputedStyle(part), box = part.getBoundingClientRect();
    return {tag: part.tagName, text: part.textContent.trim().slice(0, 40), ring: style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 2,
        seen: box.bottom > 0 && box.top < innerHeight, at: part.dataset.at || (part.dataset.at = String(Math.random()))}; }"""
REACHABLE = """() => [...document.querySelectorAll('a[href], button, input, select, summary, [tabindex="0"]')]
    .filter(part => part.checkVisibility() && !part.disabled).length"""


def find_violations(page) -> list[tuple]:
    """What axe-core finds on the page as it is shown now: rule, impact, where."""
    found = AXE.run(page, options={"runOnly": {"type": "tag", "values": list(TAGS)}, "resultTypes": ["violations"]}).response
    return [(rule["id"], rule["impact"], [node["target"] for node in rule["nodes"]][:5]) for rule in found["violations"]]


@pytest.mark.parametrize("name", PAGES)
def test_axe_finds_nothing(browser, site, name):
    page, _ = open_page(browser, site, name)
    found = find_violations(page)
    close(page)
    assert not found


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", PAGES)
def test_axe_finds_nothing_on_a_phone(browser, site, name, scheme):
    page, _ = open_page(browser, site, name, "phone", color_scheme=scheme)
    found = find_violations(page)
    close(page)
    assert not found


def test_axe_would_find_what_is_wrong(browser, site):
    page, _ = open_page(browser, site, "index")
    page.evaluate("""() => { document.querySelector('h1').style.color = '#ddd'; document.documentElement.removeAttribute('lang');
        document.querySelector('main').append(Object.assign(document.createElement('input'), {type: 'text'})); }""")
    found = {rule for rule, _, _ in find_violations(page)}
    close(page)
    assert {"color-contrast", "html-has-lang", "label"} <= found


@pytest.mark.parametrize(("width", "names"), [(320, FEW), (320, PAGES), (640, PAGES)], ids=["few", "320", "640"])
def test_pages_reflow_at_200_and_400_percent(browser, site, width, names):
    """1.4.4, 1.4.10: a window of 1,280 pixels has 640 at 200 % and 320 at 400 %; only tables and drawings may scroll sideways."""
    for name in names:
        page, _ = open_page(browser, site, name)
        page.set_viewport_size({"width": width, "height": 480})
        wide, over = page.evaluate("document.documentElement.scrollWidth"), page.evaluate(FIND_WIDE, width)
        close(page)
        assert wide <= width and not over, (name, over[:3])


def test_spaced_text_is_not_cut(browser, site):
    for name in PAGES:
        page, _ = open_page(browser, site, name, "phone", bypass_csp=True)
        page.add_style_tag(content=SPACED)
        wide, cut = page.evaluate("document.documentElement.scrollWidth"), page.evaluate(FIND_CUT)
        close(page)
        assert wide <= 390 and not cut, (name, cut[:3])


@pytest.mark.parametrize("name", ["index", "vessel/0001042", "unit/vor-100309"])
def test_keyboard_alone_reaches_everything_and_sees_where_it_is(browser, site, name):
    """2.1.1, 2.1.2, 2.4.7, 2.4.11: every control once, in turn, each with a ring about it and within the window."""
    page, _ = open_page(browser, site, name)
    wait_until(page, "!document.querySelector('.chart') || !!document.querySelector('.chart.drawn')")
    wanted, seen = page.evaluate(REACHABLE), []
    for _ in range(wanted + 5):
        page.keyboard.press("Tab")
        part = page.evaluate(REACHED)
        if part["tag"] == "BODY" or (seen and part["at"] == seen[0]["at"]):
            break
        seen.append(part)
    close(page)
    assert len(seen) == len({part["at"] for part in seen}) == wanted
    assert not [part for part in seen if not part["ring"] or not part["seen"]]


def test_nothing_moves(browser, site):
    """2.2.2, 2.3.3: no page animates anything, whatever the reader asked for."""
    page, _ = open_page(browser, site, "overdue")
    moving = page.evaluate("""() => [...document.querySelectorAll('*')].map(part => getComputedStyle(part))
        .filter(style => style.animationName !== 'none' || style.transitionDuration.split(', ').some(time => parseFloat(time) > 0)).length""")
    close(page)
    assert moving == 0


@pytest.mark.parametrize("name", ["overdue", "corrosion"])
def test_every_chart_says_in_words_what_it_shows(browser, site, name):
    page, _ = open_page(browser, site, name)
    told = page.evaluate("""() => [...document.querySelectorAll('.chart')].map(chart => ['labelledby', 'describedby'].map(
        kind => document.getElementById(chart.getAttribute('aria-' + kind)).textContent.trim()))""")
    close(page)
    assert told and all(len(title) > 15 and len(summary) > 15 for title, summary in told)
