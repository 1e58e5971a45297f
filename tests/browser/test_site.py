"""The site as files: it agrees with the figures, its twins agree with what is drawn, it is safe, stable and complete."""

from __future__ import annotations

import html
import re
import shutil
from collections import Counter
from importlib.resources import files
from pathlib import Path

import duckdb
import plotly.graph_objects as go
import pytest

from dashboards import site as site_module
from dashboards.site import MARKER, build_site
from pipeline.errors import UserError
from tests.browser.make_fixture_db import make_fixture_db
from tests.browser.read_site import ParsedPage, find_pages, read_page, read_pages, read_twin

HEAVIEST_BYTES = 300_000
FIXED = {
    "index.html",
    "register.html",
    "overdue.html",
    "fitness.html",
    "defects.html",
    "corrosion.html",
    "agents.html",
    "watch-list.html",
    "data-quality.html",
    "method.html",
}


def read_bytes(site: Path) -> dict[str, bytes]:
    return {path.relative_to(site).as_posix(): path.read_bytes() for path in sorted(site.rglob("*")) if path.is_file()}


@pytest.fixture(scope="module")
def pages(site) -> list[ParsedPage]:
    return read_pages(site)


def test_every_page_is_there(site, con):
    numbers = [imo for (imo,) in con.execute("select imo_number from record.vessel where left_on is null").fetchall()]
    vessels = {f"vessel/{imo}{part}.html" for imo in numbers for part in ("", "-sheet")}
    assert {path.relative_to(site).as_posix() for path in find_pages(site)} == FIXED | vessels


def test_pages_are_light(pages):
    assert max(page.path.stat().st_size for page in pages) < HEAVIEST_BYTES


def test_links_and_ids_resolve(pages):
    ids = {page.path: page.ids for page in pages}
    for page in pages:
        assert not [name for name, times in Counter(page.ids).items() if times > 1]
        for link in page.links:
            target, _, fragment = link.partition("#")
            if link == "data:,":
                continue
            path = (page.path.parent / target).resolve() if target else page.path
            assert path.is_file(), f"{page.path.name}: {link}"
            if fragment and "=" not in fragment:  # what the register is asked for; test_register.py follows it
                assert fragment in ids[path], f"{page.path.name}: {link}"


def test_nothing_points_outside(site):
    for path in [*site.rglob("*.html"), site / "assets" / "style.css", site / "assets" / "site.js"]:
        assert not re.search(r"(https?:)?//[a-z]", path.read_text(encoding="utf-8")), path.name


def test_every_page_has_policy_caution_and_date(pages):
    for page in pages:
        source = page.path.read_text(encoding="utf-8")
        assert "default-src 'none'" in source and source.count("<h1>") == 1
        assert "supports and never replaces" in page.text and "never pressure-test one outside a test shop" in page.text
        assert "As of 31\u00a0Oct\u00a02026" in page.text


def test_figures_are_valid_and_plain(pages):
    drawn = [(name, figure) for page in pages for name, figure in page.charts.items()]
    assert len(drawn) > 15
    for name, figure in drawn:
        go.Figure(figure)
        text = str(figure)
        assert "bdata" not in text and "template" not in figure["layout"], name
        colours = [c for c in re.findall(r"color': '([^']*)'", text) if not c.startswith(("var(--", "rgba(0,0,0,0)"))]
        assert not colours, f"{name}: {colours}"


def test_bars_and_axes_start_at_zero(pages):
    for page in pages:
        for name, figure in page.charts.items():
            values = [a for key, a in figure["layout"].items() if re.fullmatch(r"[xy]axis\d*", key) and a.get("zeroline")]
            assert values and all(axis["range"][0] == 0 for axis in values), name


def list_drawn(figure: dict) -> tuple[Counter, set[str], int]:
    """Numbers and words that a figure draws as marks, and the number of rows or columns it draws.

    Lines of limits stand at the same places along x as the marks: those count once.
    """
    numbers: Counter = Counter()
    words: set[str] = set()
    places: Counter = Counter()
    for trace in figure["data"]:
        if trace.get("mode") == "lines" and trace.get("hoverinfo") == "skip" and isinstance(trace["x"][0], (int, float)):
            places |= Counter(round(float(v), 4) for v in trace["x"])
            numbers += Counter(round(float(v), 4) for v in trace["y"] if v is not None)
            continue
        for values in (trace["x"], trace["y"]) if trace.get("mode") != "text" else ():
            known = [v for v in values if v is not None]
            if all(isinstance(v, (int, float)) for v in known):
                numbers += Counter(round(float(v), 4) for v in known)
            else:
                words |= {html.unescape(str(v)) for v in known}
    numbers += places - numbers
    return numbers, words, max(len(trace["x"]) for trace in figure["data"])


def test_twin_holds_exactly_what_is_drawn(pages):
    checked = 0
    for page in pages:
        for name, figure in page.charts.items():
            rows = read_twin(page.find_twin(name))
            cells = [v.removeprefix("'") for row in rows for v in row.values()]
            written = Counter(round(float(v), 4) for v in cells if re.fullmatch(r"-?\d+(\.\d+)?", v))
            numbers, words, count = list_drawn(figure)
            assert numbers and not numbers - written, (page.path.name, name, numbers - written)
            assert words <= set(cells), (page.path.name, name, words - set(cells))
            assert count == len(rows) or (count < len(rows) and "panels" in figure["layout"]["meta"]), (page.path.name, name)
            checked += 1
    assert checked > 15


def test_page_tables_agree_with_their_twins(pages):
    checked = 0
    for page in (
        page for page in pages if not page.path.stem.endswith("-sheet")
    ):  # a sheet holds the first lines of its vessel's tables
        for name, (_, *body) in page.tables.items():
            rows = read_twin(page.find_twin(name))
            assert 0 < len(body) <= len(rows) and (len(body) == len(rows) or len(body) >= 40), (page.path.name, name)
            firsts = [next(iter(row.values())).removeprefix("'") for row in rows]
            if not any(re.fullmatch(r"\d{4}-\d\d-\d\d", first) for first in firsts):
                said = [row[0].split(":")[0] for row in body]
                assert said == [first.split(":")[0] or "\u2013" for first in firsts[: len(body)]], (page.path.name, name)
            checked += 1
        # What a reader may choose from has a CSV and no table until a script has added it up.
        shown = [twin for twin in page.downloads if not twin.stem.endswith(("-parts", "-watched", "register-units"))]
        assert len(page.tables) == len(shown) and len(page.downloads) - len(shown) <= 2, page.path.name
    assert checked > 30


def test_building_twice_gives_the_same_bytes(demo, tmp_path):
    build_site(demo.db, tmp_path / "again")
    assert read_bytes(tmp_path / "again") == read_bytes(demo.site)


def test_foreign_folders_are_left_alone(tmp_path):
    db = make_fixture_db(tmp_path / "a.duckdb", vessels=1, units=4, months=3)
    (tmp_path / "photos").mkdir()
    (tmp_path / "photos" / "one.jpg").write_bytes(b"x")
    (tmp_path / "note").write_text("x")
    for place in ("photos", "note"):
        with pytest.raises(UserError) as caught:
            build_site(db, tmp_path / place)
        assert caught.value.slug == "not-our-site"
    assert (tmp_path / "photos" / "one.jpg").read_bytes() == b"x" and (tmp_path / "note").read_text() == "x"
    (tmp_path / "empty").mkdir()
    build_site(db, tmp_path / "empty")
    assert (tmp_path / "empty" / MARKER).is_file()


def test_missing_and_foreign_databases_are_named(tmp_path):
    (tmp_path / "text.duckdb").write_text("no database at all")
    shutil.copy(make_fixture_db(tmp_path / "a.duckdb", vessels=1, units=2, months=2), tmp_path / "b.duckdb")
    with duckdb.connect(str(tmp_path / "b.duckdb")) as con:
        con.execute("drop schema intake cascade")
    for name, slug in {"none": "no-database", "text": "not-our-database", "b": "not-our-database"}.items():
        with pytest.raises(UserError) as caught:
            build_site(tmp_path / f"{name}.duckdb", tmp_path / "site")
        assert caught.value.slug == slug
    assert not (tmp_path / "site").exists()


def test_empty_fleet_says_why_and_what_to_do(build_invented):
    site = build_invented(vessels=0)
    pages = read_pages(site)
    assert {page.path.name for page in pages} == FIXED
    for page in pages:
        assert not page.charts and "0.0\u00a0%" not in page.text and "None" not in page.text, page.path.name
        assert len(page.text) > 600
    assert "Load a vessel list (vessel.csv)" in read_page(site / "index.html").text
    assert "Load a register of units" in read_page(site / "overdue.html").text


def test_one_vessel_one_month(build_invented):
    site = build_invented(vessels=1, units=5, months=1)
    overdue = read_page(site / "overdue.html")
    assert "too short to show a course" in overdue.text
    assert "no earlier month to compare with" in read_page(site / "index.html").text
    vessel = read_page(next((site / "vessel").glob("*[0-9].html")))
    assert len(vessel.tables["register"]) == 1 + 5


def test_large_fleet_goes_on_further_pages(build_invented):
    site = build_invented(vessels=60, units=6, months=14)
    first, second = read_page(site / "index.html"), read_page(site / "fleet-2.html")
    shown = [row[1] for page in (first, second) for row in page.tables["vessels"][1:]]
    assert len(first.tables["vessels"]) == 51 and len(shown) == len(set(shown)) == 60
    assert "fleet-2.html" in first.links
    assert max(page.path.stat().st_size for page in read_pages(site)) < HEAVIEST_BYTES


def test_summary_counts_what_is_there(demo, tmp_path):
    summary = build_site(demo.db, tmp_path / "site")
    pages = sorted(path.relative_to(summary.site).as_posix() for path in summary.site.rglob("*.html"))
    assert sorted(summary.pages) == pages
    assert summary.csv_files == len(list(summary.site.rglob("*.csv")))
    assert summary.heaviest_bytes == max((summary.site / page).stat().st_size for page in pages)


def test_library_is_the_installed_one(site):
    assert (site / "assets" / "plotly.min.js").read_bytes() == files("plotly").joinpath(
        "package_data", "plotly.min.js"
    ).read_bytes()
    assert {"style.css", "site.js", "choose.js"} <= set(site_module.ASSETS)
