"""A vessel's sheet: one page of A4 whatever the vessel, and what is left out is counted."""

from __future__ import annotations

import re

import pytest

from tests.browser.hostile import LONG, TURNED
from tests.browser.test_pages import close, open_page

LOST = """() => [...document.querySelectorAll('.sheet section, .sheet footer')].filter(part => part.getBoundingClientRect().height < 8).map(part => part.id)"""


def print_sheet(browser, site, imo) -> tuple[int, str]:
    """Pages of its PDF, and its text on screen."""
    page, trouble = open_page(browser, site, f"vessel/{imo}-sheet")
    said, lost = page.locator("body").inner_text(), page.evaluate(LOST)
    pdf = page.pdf(prefer_css_page_size=True)
    close(page)
    assert not lost and not [entry for entry in trouble if "data:," not in entry]
    boxes = set(re.findall(rb"/MediaBox \[0 0 (\d+)[\d.]* (\d+)[\d.]*\]", pdf))
    assert boxes and boxes <= {(b"594", b"841"), (b"595", b"842")}
    return len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf)), said


def test_each_vessel_of_the_sample_has_one_page(browser, site, con):
    for imo, name in con.execute("SELECT imo_number, vessel_name FROM record.vessel ORDER BY imo_number").fetchall():
        pages, said = print_sheet(browser, site, imo)
        (late,) = con.execute(
            "SELECT count(*) FROM figure.duty_now WHERE state = 'overdue' AND imo_number = $imo", {"imo": imo}
        ).fetchone()
        assert pages == 1 and name in said and "never replaces" in said and "Signature" in said
        assert not late or (f"Overdue: {late}" if late <= 8 else f"Overdue: the first 8 of {late}") in said


@pytest.mark.parametrize(
    ("units", "names"),
    [(400, ["L" + "o" * 150 + "ng", "The " + "Very " * 60 + "Long"]), (2, [LONG, TURNED]), (0, ["Bare", "Bone"])],
    ids=["huge", "hostile", "empty"],
)
def test_any_vessel_has_one_page(browser, build_invented, units, names):
    site = build_invented(vessels=2, units=units, months=14, names=names)
    sheets = sorted(path.stem.removesuffix("-sheet") for path in site.glob("vessel/*-sheet.html"))
    assert len(sheets) == 2
    for imo in sheets:
        pages, said = print_sheet(browser, site, imo)
        assert pages == 1 and "never replaces" in said


def test_sheet_and_page_lead_to_each_other(browser, site):
    page, _ = open_page(browser, site, "vessel/0001042")
    page.get_by_role("link", name="One sheet to print").click()
    assert page.url.endswith("/vessel/0001042-sheet.html")
    page.get_by_role("link", name="All of this vessel").click()
    assert page.url.endswith("/vessel/0001042.html")
    close(page)
