"""Each page with a headline answers 'Is it real?' in plain words, also where a fleet has next to nothing to tell."""

from __future__ import annotations

import html
import re
from datetime import date, timedelta
from pathlib import Path

import duckdb
import pytest

from dashboards.site import build_site
from pipeline.run import RunOptions, run
from tests.browser.read_site import read_page
from tests.conftest import AS_OF, VESSEL_A, VESSEL_B, write_folder

PAGES = ("index", "overdue", "defects", "corrosion")
# What a page must not say to a reader: numbers that are none, and Python's own words.
BROKEN = re.compile(r"\b(nan|inf|infinity|None(?! of)|null|Traceback|Decimal|float)\b|∞")

VESSELS = f"imo_number,vessel_name\n{VESSEL_A},Quiet Heron\n{VESSEL_B},Slow Plover"
UNIT_HEAD = "unit_id,imo_number,agent,form,charge_kg,made_on,in_service_on,space_category"


def list_units(*vessels: str, each: int = 6) -> str:
    """Powder units made in 2012, in service since 2013."""
    rows = [
        f"U{v}{n},{imo},powder,portable,6,2012-01-31,2013-01-31,machinery" for v, imo in enumerate(vessels) for n in range(each)
    ]
    return "\n".join([UNIT_HEAD, *rows])


def list_looks(vessels: tuple[str, ...], days: list[date], each: int = 6, found: bool = False) -> dict[str, str]:
    """An inspection of every unit on each day; where asked, every unit corroded at every look."""
    looks = [f"U{v}{n},{imo},{day},satisfactory" for v, imo in enumerate(vessels) for n in range(each) for day in days]
    told = {"inspection.csv": "\n".join(["unit_id,imo_number,inspected_on,outcome", *looks])}
    if found:
        rows = [
            f"U{v}{n},{imo},{day},shell,corrosion,major" for v, imo in enumerate(vessels) for n in range(each) for day in days
        ]
        told["finding.csv"] = "\n".join(["unit_id,imo_number,found_on,component,defect,severity", *rows])
    return told


MONTHLY = [date(2023, 1, 15) + timedelta(days=30 * n) for n in range(40)]
BOTH = (VESSEL_A, VESSEL_B)
FLEETS: dict[str, dict[str, str]] = {
    "no units": {"vessel.csv": VESSELS, "unit.csv": UNIT_HEAD},
    "no events": {"vessel.csv": VESSELS, "unit.csv": list_units(*BOTH)},
    "one vessel": {"vessel.csv": VESSELS.rsplit("\n", 1)[0], "unit.csv": list_units(VESSEL_A), **list_looks((VESSEL_A,), MONTHLY, found=True)},
    "all overdue": {"vessel.csv": VESSELS, "unit.csv": list_units(*BOTH), **list_looks(BOTH, [date(2013, 3, 1), date(2013, 4, 1)])},
    "one month": {"vessel.csv": VESSELS, "unit.csv": list_units(*BOTH), **list_looks(BOTH, [date(2026, 4, 2), date(2026, 5, 9)], found=True)},
    "all corroded": {"vessel.csv": VESSELS, "unit.csv": list_units(*BOTH, each=40), **list_looks(BOTH, MONTHLY[::6], 40, found=True)},
}  # fmt: skip


@pytest.fixture(scope="module", params=FLEETS)
def told(request, tmp_path_factory) -> tuple[str, Path]:
    """The name of a fleet, and its site."""
    folder = tmp_path_factory.mktemp("fleet")
    exports = write_folder(folder / "exports", FLEETS[request.param])
    run(RunOptions((exports,), folder / "store", folder / "a.duckdb", AS_OF))
    build_site(folder / "a.duckdb", folder / "site")
    return request.param, folder / "site"


def read_section(site: Path, page: str, name: str) -> str:
    """The text of one section of a page, in one line."""
    source = (site / f"{page}.html").read_text(encoding="utf-8")
    found = re.search(rf'<section[^>]*id="[^"]*{name}"[^>]*>(.*?)</section>', source, re.S)
    assert found, f"{page} has no section {name}"
    text = html.unescape(re.sub(r"<script.*?</script>|<[^>]+>", " ", found[1], flags=re.S))
    return re.sub(r"\s+", " ", text.replace("\u202f", " ").replace("\u00a0", " ").replace("\u2009", " ")).strip()


def test_no_page_says_what_is_no_number(told):
    name, site = told
    for path in sorted(site.rglob("*.html")):
        assert not BROKEN.search(read_page(path).text), (name, path.name, BROKEN.search(read_page(path).text))
    for path in sorted(site.rglob("*.csv")):
        assert not re.search(r"(^|,)([Nn]a[Nn]|-?[Ii]nf|None)(,|$)", path.read_text(encoding="utf-8"), re.M), (name, path.name)


def test_no_figure_holds_what_is_no_number(told):
    name, site = told
    with duckdb.connect(str(site.parent / "a.duckdb"), read_only=True) as con:
        columns = con.execute(
            "select table_name, column_name from duckdb_columns() where schema_name = 'figure' and data_type = 'DOUBLE'"
        )
        found = columns.fetchall()
        assert len(found) > 60
        for table, column in found:
            assert not con.execute(f'select count(*) from figure.{table} where not isfinite("{column}")').fetchone()[0], (
                name,
                table,
                column,
            )


# What each page answers of each fleet: the words of its verdict.
NOTHING_DUE, NO_YEARS = "Nothing fell due in the last 12 months.", "don't reach back far enough"
NO_CHANGE, NO_AGES, NO_DECK = (
    "don’t reach back far enough",
    "Whether age makes a difference can’t be told",
    "begins earlier on open deck can’t be told",
)
VERDICTS = {
    ("no units", "index"): [NOTHING_DUE],
    ("no units", "overdue"): [NOTHING_DUE], ("no units", "defects"): ["no kind comes first"], ("no units", "corrosion"): [NO_AGES, NO_DECK],
    ("no events", "defects"): ["no kind comes first"], ("no events", "corrosion"): [NO_AGES, NO_DECK],
    ("one vessel", "corrosion"): [NO_AGES, NO_DECK], ("one vessel", "defects"): ["comes first"], ("one vessel", "overdue"): ["no rate is given", "no fleet to set it against"],
    ("all overdue", "overdue"): ["36 items fell due before that and are still open"], ("all overdue", "defects"): ["no kind comes first"], ("all overdue", "corrosion"): [NO_AGES, NO_DECK],
    ("one month", "overdue"): ["0 of 12 that fell due", "no rate is given", NO_YEARS], ("one month", "defects"): [NO_CHANGE, "comes first"], ("one month", "corrosion"): [NO_AGES, NO_DECK],
    ("all corroded", "corrosion"): [NO_AGES, NO_DECK],
}  # fmt: skip


@pytest.mark.parametrize("page", PAGES)
def test_is_it_real_has_a_plain_answer(told, page):
    name, site = told
    text = read_section(site, page, "real")
    assert text.startswith("Is it real?") and len(text) > 60, text
    for words in VERDICTS.get((name, page), []):
        assert words in text, (name, page, text)
