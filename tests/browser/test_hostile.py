"""Text of files stays text: pages of a hostile fleet (hostile.py) run nothing, ask for nothing, stay narrow and light."""

from __future__ import annotations

import csv
import io
import re
from types import SimpleNamespace

import duckdb
import pytest

from dashboards import charts, time_charts, words
from dashboards.pages.quality_mending import HOW_TO_SEND
from pipeline.spreadsheet import guard, unguard
from tests.browser.hostile import DIALECT_NAME, FILE_NAME, FORMULA, LABEL, LONG, QUOTES, SCRIPT, TEXTS, TURNED, make_hostile
from tests.browser.read_site import find_pages, read_page, read_pages, read_twin
from tests.browser.test_calendar import assert_rfc_5545, read_events
from tests.browser.test_pages import SCREENS, WIDEST_PRINT_PX, close, open_page
from tests.browser.test_site import HEAVIEST_BYTES

# Marks that only text of a file could have made: our own templates write none of them into <main>.
FIND_FOREIGN = """() => [...document.querySelectorAll('main *')].filter(node =>
    (node.tagName === 'SCRIPT' && node.type !== 'application/json') || ['IMG', 'IFRAME', 'OBJECT', 'U', 'FORM', 'META', 'BASE'].includes(node.tagName)
    || [...node.attributes].some(a => a.name.startsWith('on') || /^\\s*javascript:/i.test(a.value))
    || (node.tagName === 'B' && !node.closest('.facts')) || (node.tagName === 'I' && !node.classList.contains('shape'))
    || (node.closest('.chart') && (node.localName === 'a' || /bold/.test(node.getAttribute('style') || '')))).map(node => node.outerHTML.slice(0, 200))"""
MOST_ON_PAPER_PX = (
    1.25 * WIDEST_PRINT_PX
)  # a register of 13 columns takes 820 px with any names; browsers shrink that to the sheet
# Three points of each chart, one after the other: plotly answers no faster than every 50 ms.
HOVER_ALL = """async () => {
    const marks = [];
    for (const box of document.querySelectorAll('.chart')) {
        for (let k = 0; k < 3; k += 1) {
            const curve = box.data.length > k ? k : 0, trace = box.data[curve];
            Plotly.Fx.hover(box, [{curveNumber: curve, pointNumber: Math.min(k, trace.x.length - 1)}],
                (trace.xaxis || 'x') + (trace.yaxis || 'y'));
            await new Promise(done => setTimeout(done, 60));
            const nodes = [...box.querySelectorAll('.hoverlayer *')];
            marks.push([nodes.length, nodes.filter(n => n.localName === 'a' || /bold/.test(n.getAttribute('style') || '')).length]);
        }
    }
    return marks;
}"""


@pytest.fixture(scope="module")
def hostile(tmp_path_factory) -> SimpleNamespace:
    return make_hostile(tmp_path_factory.mktemp("hostile"))


def list_names(site) -> list[str]:
    """Every page, and of the many lists and units one list and the units of hostile numbers: their file names end in a hash."""
    odd = sorted(path for path in (site / "unit").glob("*_*.html"))
    assert len(odd) >= len(TEXTS)
    paths = [*find_pages(site), *odd[: 2 * len(TEXTS)], site / "list/fleet/against.html"]
    return [path.relative_to(site).with_suffix("").as_posix() for path in paths]


def test_the_hostile_texts_have_come_through(hostile):
    with duckdb.connect(str(hostile.db), read_only=True) as con:
        names = {name for (name,) in con.execute("select vessel_name from record.vessel").fetchall()}
        units = {unit for (unit,) in con.execute("select unit_id from record.unit").fetchall()}
        corrected = con.execute("select from_value, why, who from intake.correction").fetchall()
        withdrawn = con.execute("select path, why from intake.withdrawn").fetchall()
        answered, still = con.execute(
            "select count(superseded_by), count(*) - count(superseded_by) from intake.quarantine"
        ).fetchone()
        columns = {table for (table,) in con.execute("select distinct table_name from intake.quarantine").fetchall()}
    assert {SCRIPT, QUOTES, LABEL, TURNED, LONG} <= names
    assert {text for text in TEXTS if text in units} == set(TEXTS)
    assert sorted(row[0] for row in corrected) == sorted(row[1] for row in corrected) == sorted(row[2] for row in corrected)
    assert len(corrected) == len(TEXTS) and len(withdrawn) == 1 and FILE_NAME in withdrawn[0][0]
    assert answered > 5 and still > 100 and len(columns) >= 3


@pytest.mark.parametrize("screen", [pytest.param("desk", marks=pytest.mark.slow), "phone"])
def test_no_page_runs_asks_or_grows(browser, hostile, screen):
    hovered = 0
    for name in list_names(hostile.site):
        page, trouble = open_page(browser, hostile.site, name, screen)
        hit, foreign = page.evaluate("window.hit === undefined"), page.evaluate(FIND_FOREIGN)
        marks = page.evaluate(HOVER_ALL) if screen == "desk" else []
        width = page.evaluate("document.documentElement.scrollWidth")
        page.set_viewport_size({"width": WIDEST_PRINT_PX, "height": 900})
        page.emulate_media(media="print")
        on_paper = page.evaluate("document.documentElement.scrollWidth")
        close(page)
        assert on_paper <= MOST_ON_PAPER_PX, (name, on_paper)
        assert hit and not foreign, (name, foreign)
        assert not [said for said in trouble if "data:," not in said], name
        assert width <= SCREENS[screen][0], name
        assert not any(bad for _, bad in marks), name
        hovered += sum(1 for nodes, _ in marks if nodes)
    assert hovered > 15 or screen != "desk", "no hover texts were seen"


def test_pages_printed_and_without_script_are_quiet_too(browser, hostile):
    for name in ("index", "data-quality"):
        page, trouble = open_page(browser, hostile.site, name, java_script_enabled=False)
        close(page)
        printed, more = open_page(browser, hostile.site, name)
        printed.pdf()
        hit = printed.evaluate("window.hit === undefined")
        close(printed)
        assert hit and not [said for said in trouble + more if "data:," not in said]


def test_pages_stay_light_and_names_of_files_plain(hostile):
    files = [path for path in hostile.site.rglob("*") if path.is_file()]
    assert max(path.stat().st_size for path in files if path.suffix == ".html") < HEAVIEST_BYTES
    strange = [
        path.name
        for path in files
        if not re.fullmatch(r"\.?[a-z0-9_.-]+", path.relative_to(hostile.site).as_posix().replace("/", "-"))
    ]
    assert not strange and len(files) > 60


def test_text_reads_as_it_was_written(hostile):
    assert SCRIPT in read_page(hostile.site / "index.html").text
    quality = read_page(hostile.site / "data-quality.html").text
    for text in (DIALECT_NAME, FILE_NAME.replace("\u202e", "\ufffd"), SCRIPT, QUOTES, LABEL, FORMULA):
        assert text in quality, text
    assert LONG[: words.MOST_LETTERS - 1] in quality and LONG[: words.MOST_LETTERS + 1] not in quality


def test_nothing_turns_the_letters_beside_it(hostile):
    pages = [path.read_text(encoding="utf-8") for path in hostile.site.rglob("*.html")]
    assert not [page for page in pages if words.UNSHOWN.search(page)]
    assert any("\ufffdturned" in page for page in pages) and any("\u05d0\u05d1" in page for page in pages)
    assert not re.search(r"\\(202e|2066|7) ", "".join(pages)), "the page's foot on paper holds the name as well"


def test_links_lead_into_the_site(hostile):
    seen = 0
    for page in read_pages(hostile.site):
        for link in page.links:
            if link != "data:,":
                seen += 1
                assert not link.partition("#")[0] or (page.path.parent / link.partition("#")[0]).resolve().is_file(), link
    assert seen > 200


def test_no_cell_of_a_twin_is_run_by_a_spreadsheet(hostile):
    csv.field_size_limit(10_000_000)
    guarded, whole = 0, 0
    for twin in sorted((hostile.site / "data").rglob("*.csv")):
        for row in csv.reader(io.StringIO(twin.read_text(encoding="utf-8-sig"), newline="")):
            for cell in row:
                assert cell[:1] not in ("=", "+", "-", "@", "\t", "\r") or re.fullmatch(r"[+-]?[0-9][0-9.,\s]*", cell), (
                    twin.name,
                    cell,
                )
                guarded += cell == f"'{FORMULA}"
                whole += cell == LONG
    assert guarded > 3 and whole > 3


@pytest.mark.parametrize(
    ("cell", "written"),
    [("=1+1", "'=1+1"), ("@SUM(A1)", "'@SUM(A1)"), ("-x", "'-x"), ("\t=1", "'\t=1"), ("'=1", "''=1"), ("''=1", "'''=1")]
    + [(same, same) for same in ("-12", "+4,5", "-1 200.5", "'x", "it's", "a=1", "")],
)
def test_what_a_spreadsheet_would_run_is_guarded_and_can_be_taken_back(cell, written):
    assert guard(cell) == written and unguard(written) == cell


def test_names_of_series_are_text_and_never_part_of_a_template():
    series = charts.Series(LABEL, ("2026-01",), (1,), slug="foam")
    stack = charts.draw_stack(["A"], [series], "units")
    line = time_charts.draw_lines([charts.Series(LABEL, (words.date(2026, 1, 31),), (1.0,))], "%")
    for figure in (stack, line):
        trace = figure["data"][0]
        assert "<" not in trace["name"] and "customdata" not in trace["hovertemplate"]
    assert "<" not in line["layout"]["annotations"][0]["text"]


def test_the_command_to_copy_holds_nothing_that_came_in_a_file(hostile):
    page = (hostile.site / "data-quality.html").read_text(encoding="utf-8")
    assert HOW_TO_SEND in page
    assert {text for text in re.findall(r"<code>(.*?)</code>", page)} == {
        "firekpi quarantine --export FOLDER",
        "--source DIALECT",
    }


def test_sources_add_up_to_the_open_records(hostile):
    with duckdb.connect(str(hostile.db), read_only=True) as con:
        (still,) = con.execute(
            "select count(distinct (file_id, record_no)) from intake.quarantine where superseded_by is null"
        ).fetchone()
    rows = read_twin(hostile.site / "data/data-quality-sources.csv")
    days = [row["oldest_on"] for row in rows]
    assert still and sum(int(row["records_open"]) for row in rows) == still
    assert days == sorted(days)


def test_calendar_files_of_hostile_exports_keep_the_rules(hostile):
    files = sorted(hostile.site.glob("calendar/*.ics"))
    assert len(files) > 2
    for path in files:
        assert_rfc_5545(path.read_bytes())
        assert read_events(path.read_bytes())
