"""What must fit where room is short: numbers and years of columns on a phone, dates below a zero, words of a table on paper."""

from __future__ import annotations

from datetime import date

import pytest

from dashboards.charts import name_ticks
from tests.browser.test_pages import close, open_page

# Boxes of an SVG's texts, as [left, right, top, bottom, font size, text].
FIND_TEXTS = """([chart, path]) => [...document.querySelectorAll(`#${chart} ${path}`)].filter(t => t.textContent).map(t => {
    const box = t.getBoundingClientRect();
    return [box.left, box.right, box.top, box.bottom, getComputedStyle(t).fontSize, t.textContent];
})"""
# Words (parts between blanks, commas, /, _ and -) that stand on more than one line; one of more letters than a column holds may.
FIND_BROKEN = """() => {
    const broken = [];
    let seen = 0;
    for (const cell of document.querySelectorAll('table:has(th.value) :is(th, td)')) {
        const walk = document.createTreeWalker(cell, NodeFilter.SHOW_TEXT);
        while (walk.nextNode()) {
            for (const part of walk.currentNode.data.matchAll(/[^\\s\\/_,-]+/g)) {
                const range = document.createRange();
                range.setStart(walk.currentNode, part.index);
                range.setEnd(walk.currentNode, part.index + part[0].length);
                const lines = new Set([...range.getClientRects()].map(box => Math.round(box.top)));
                seen += lines.size ? 1 : 0;
                if (lines.size > 1 && part[0].length <= 15) { broken.push(part[0]); }
            }
        }
    }
    return [seen, broken];
}"""


def list_overlaps(boxes: list) -> list[tuple[str, str]]:
    return [
        (a[5], b[5])
        for i, a in enumerate(boxes)
        for b in boxes[i + 1 :]
        if min(a[1], b[1]) > max(a[0], b[0]) and min(a[3], b[3]) > max(a[2], b[2])
    ]


def test_numbers_of_columns_have_one_size_and_keep_apart_on_a_phone(browser, site):
    page, _ = open_page(browser, site, "overdue", "phone")
    numbers = page.evaluate(FIND_TEXTS, ["overdue-month-ends", ".bartext"])
    years = page.evaluate(FIND_TEXTS, ["overdue-month-ends", ".xtick :is(tspan, text:not(:has(tspan)))"])
    close(page)
    assert len(numbers) > 12 and len({len(box[5]) for box in numbers}) > 1, "numbers of one and of two digits"
    assert len({box[4] for box in numbers}) == 1
    assert len(years) == 26 and not list_overlaps(years)
    assert not list_overlaps(numbers)


@pytest.mark.parametrize("chart", ["overdue-trend", "overdue-by-duty"])
def test_no_date_covers_the_zero_on_a_phone(browser, site, chart):
    page, _ = open_page(browser, site, "overdue", "phone")
    zeros = [box for box in page.evaluate(FIND_TEXTS, [chart, ".ytick text"]) if box[5] in ("0", "0 %")]
    dates = page.evaluate(FIND_TEXTS, [chart, ".xtick text"])
    close(page)
    assert zeros and dates and not list_overlaps(zeros + dates)


@pytest.mark.parametrize(("first", "years"), [((2024, 11), {2: 2025}), ((2024, 10), {0: 2024, 3: 2025}), ((2025, 1), {0: 2025})])
def test_a_year_stands_below_its_first_month_only_where_it_has_room(first, years):
    months = [first[0] * 12 + first[1] - 1 + i for i in range(6)]
    ticks = name_ticks([date(month // 12, month % 12 + 1, 28) for month in months])
    for names in ticks.values():
        assert {i: int(name.split("<br>")[1]) for i, name in enumerate(names) if "<br>" in name} == years


def test_no_word_of_rows_kept_out_breaks_on_paper(browser, site):
    page, _ = open_page(browser, site, "data-quality")
    page.set_viewport_size({"width": 688, "height": 900})
    page.emulate_media(media="print")
    seen, broken = page.evaluate(FIND_BROKEN)
    cut = page.evaluate("[...document.querySelectorAll('td.value .rest')].map(rest => getComputedStyle(rest).display)")
    close(page)
    assert seen > 500 and not broken
    assert cut and set(cut) == {"none"}
