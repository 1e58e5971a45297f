"""From a number to its units, from a unit to its records, from a record to the line of its file: three steps, no script needed."""

from __future__ import annotations

import html
import re
from collections import Counter
from datetime import date
from pathlib import Path
from types import SimpleNamespace

import pytest

from dashboards.pages import list_page
from dashboards.pages.unit_names import DEVICES, name_page, name_safely
from dashboards.site import build_site
from pipeline.run import RunOptions, run
from tests.browser.make_fixture_db import make_fixture_db
from tests.browser.read_site import read_page, read_twin
from tests.browser.test_pages import close, open_page
from tests.browser.test_site import HEAVIEST_BYTES
from tests.browser.test_traces import read_line
from tests.conftest import VESSEL_A

COUNTED = re.compile(r'<a href="([^"]*)" data-count="(\d+)">(.*?)</a>', re.S)
LINK = re.compile(r'<a (?:class="[^"]*" )?href="([^"]*)"')
WHERE = re.compile(r"(\S+):(\d+)")
# Columns of the pages whose numbers count units, or items of them, on the day: each number above none leads to its list.
UNIT_COUNTS = {
    "index-table-duties": ("Counted", "Overdue now", "Unknown"),
    "index-table-ahead": ("Within 30 days", "60 days", "90 days"),
    "index-table-vessels": ("Units in service", "Overdue now", "Can't be told", "Due in 90 days, checks apart", "Open findings"),
    "overdue-table-ages": ("Items",),
    "overdue-table-lateness": ("Items overdue",),
    "overdue-table-load": ("Falling due",),
    "overdue-table-durations": ("Still open",),
    "overdue-table-vessel-durations": ("Still open",),
    "fitness-table-condemn-reasons": ("Units",),
    "fitness-table-unfit-reasons": ("Units",),
    "fitness-table-placement-reasons": ("Units",),
    "fitness-table-doubt-reasons": ("Units",),
    "corrosion-table-ages": ("Units looked at", "Corrosion ever found"),
    "corrosion-table-grades": ("Corroded", "Ri1", "Ri2", "Ri3", "Ri4", "Ri5", "Not graded"),
    "corrosion-table-space_category": ("Units", "Corroded"),
    "corrosion-table-agent": ("Units", "Corroded"),
    "corrosion-table-lining": ("Units", "Corroded"),
    "corrosion-table-pits": ("Units with a pit",),
    "agents-table-fleet": ("Units",),
    "agents-table-kinds": ("Units", "Obsolete kind"),
    "agents-table-vessels": ("Water", "Foam", "Powder", "CO2", "Wet chemical", "All"),
    "agents-table-charges": ("Units", "Obsolete kind", "In an unsuitable place"),
}
VESSEL_COUNTS = {"ahead": ("Within 30 days", "60 days", "90 days"), "agents": ("Units", "Obsolete kind")}
ODD = (
    "A/1",
    "..",
    "../../index",
    "a b",
    "Ünit 7",
    "abc",
    "ABC",
    "Abc",
    "CON",
    "-",
    "#1?x=2&y",
    "x" * 300,
    "x" * 299 + "y",
    "٣",
    "A_1",
    "A-1",
)


def strip_marks(markup: str) -> str:
    return html.unescape(re.sub(r"<[^>]+>", "", markup))


def read_rows(page: Path) -> list[list[str]]:
    """Cells of the body of a list, as markup."""
    body = page.read_text(encoding="utf-8").partition("<tbody>")[2].partition("</tbody>")[0]
    return [re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row, re.S) for row in body.split("<tr>")[1:]]


def read_list(page: Path) -> list[list[str]]:
    """Rows of a list over all its pages, as its links lead on, and beyond the last of them in the CSV of the first, as text."""
    rows, seen, first = read_rows(page), {page}, page
    while following := re.search(r'<a href="([^"]*)">Lines after these</a>', page.read_text(encoding="utf-8")):
        page = (page.parent / following[1]).resolve()
        assert page not in seen
        seen.add(page)
        rows += read_rows(page)
    if said := re.search(r">([\d,]+) further lines? stands?", page.read_text(encoding="utf-8")):
        twin = re.search(r'<a href="([^"]*)" download>This table as CSV</a>', first.read_text(encoding="utf-8"))
        beyond = read_twin((first.parent / twin[1]).resolve())[len(rows) :]
        assert len(beyond) == int(said[1].replace(",", ""))
        where = [f"{line['path']}:{line['line_no']}" if line["line_no"] else line["path"] for line in beyond]
        rows += [
            [*map(html.escape, (line["unit"], line["why"], line["vessel"], line["place"], at))]
            for line, at in zip(beyond, where, strict=True)
        ]
    return rows


def find_counted(site: Path, folder: str = "") -> list[tuple[Path, Path, int, str]]:
    """Every number that leads to a list: page, list, what it says that it counts, what is written."""
    found = []
    for page in sorted(site.glob(f"{folder}*.html") if folder else site.rglob("*.html")):
        for href, count, said in COUNTED.findall(page.read_text(encoding="utf-8")):
            found.append((page, (page.parent / href).resolve(), int(count), strip_marks(said)))
    return found


def assert_counts_equal(counted: list[tuple[Path, Path, int, str]]) -> None:
    lengths: dict[Path, int] = {}
    for page, target, count, said in counted:
        assert target.is_file(), (page.name, target)
        lengths.setdefault(target, len(read_list(target)))
        assert lengths[target] == count > 0, (page.name, target.name, count, lengths[target])
        assert re.search(rf"(?<![\d,]){count:,}(?!,?\d)", said), (page.name, said, count)


def test_each_number_equals_the_list_that_it_leads_to(site):
    counted = find_counted(site)
    assert len(counted) > 500
    assert_counts_equal(counted)
    led_to = {target for _, target, _, _ in counted}
    firsts = {path.resolve() for path in (site / "list").rglob("*.html") if not re.search(r"\.\d+\.html$", path.name)}
    assert led_to == firsts, "a list that no number leads to"


def test_each_count_of_units_leads_to_a_list(site, con):
    vessels = [imo for (imo,) in con.execute("select imo_number from record.vessel where left_on is null").fetchall()]
    wanted = UNIT_COUNTS | {f"vessel-{imo}-table-{name}": columns for imo in vessels for name, columns in VESSEL_COUNTS.items()}
    source = "".join(path.read_text(encoding="utf-8") for path in [*site.glob("*.html"), *site.glob("vessel/*.html")])
    seen = 0
    for name, columns in wanted.items():
        table = re.search(rf'<table id="{name}".*?</table>', source, re.S)
        assert table, name
        heads = [strip_marks(head) for head in re.findall(r'<th scope="col".*?</th>', table[0], re.S)]
        for row in table[0].partition("<tbody>")[2].split("<tr>")[1:]:
            cells = dict(zip(heads, re.findall(r"<t[hd].*?</t[hd]>", row, re.S), strict=True))
            for column in columns:
                said = strip_marks(cells[column])
                is_some = re.match("[1-9]", said) and " (0 of" not in said
                assert bool(is_some) == ("data-count" in cells[column]), (name, column, said)
                seen += bool(is_some)
    assert seen > 300


def list_headlines(site: Path) -> list[Path]:
    """Where the numbers of the Fleet page's opening and of its facts lead."""
    source = (site / "index.html").read_text(encoding="utf-8")
    opening, facts = (
        source.partition('<p class="answer">')[2].partition("</p>")[0],
        source.partition('<dl class="facts">')[2].partition("</dl>")[0],
    )
    for heading in re.findall(r"<b>(.*?)</b>", facts):
        assert strip_marks(heading) == "0" or "data-count" in heading, heading
    return list(dict.fromkeys((site / href).resolve() for href, _, _ in COUNTED.findall(opening + facts)))


def test_from_each_headline_to_the_line_of_the_file_in_three_steps(site):
    """One: the number to its list. Two: a unit of it to its page. Three: the file and line there to the line, which names the unit."""
    headlines, seen = list_headlines(site), 0
    assert len(headlines) >= 10
    pages: dict[Path, str] = {}
    for listed in headlines:
        for row in read_list(listed):
            path, line_no = WHERE.search(strip_marks(row[-1])).groups()
            units = {(listed.parent / link).resolve() for link in LINK.findall("".join(row)) if "/unit/" in link}
            assert units, row
            for unit in units:
                pages.setdefault(unit, strip_marks(unit.read_text(encoding="utf-8")))
                assert f"{path}:{line_no}" in pages[unit], (listed.name, unit.name, path, line_no)
            line = read_line(path, line_no)
            named = any(unit.stem.split("-")[-1] in line for unit in units)
            # What a group's date runs from may be the discharge of a unit that has left since.
            assert named or (strip_marks(row[0]).startswith("one of") and "disch" in line.lower()), (listed.name, row, line)
            seen += 1
    assert seen > 400


def test_the_three_steps_need_no_script(browser, site):
    page, trouble = open_page(browser, site, "index", java_script_enabled=False)
    page.locator(".facts div", has_text="Units overdue now").locator("b a").click()
    assert page.url.endswith("list/fleet/overdue-any.html")
    page.locator("tbody a").first.click()
    assert "/unit/" in page.url
    path, line_no = WHERE.search(page.locator("#duties td.file_line").first.inner_text().replace("\n", "")).groups()
    unit = page.locator("h1").inner_text()
    close(page)
    assert unit.split("-")[-1] in read_line(path, line_no)
    assert not [said for said in trouble if "data:," not in said]


def test_every_link_and_anchor_of_lists_and_units_is_there(site):
    ids: dict[Path, set[str]] = {}
    seen = 0
    for page in [*(site / "unit").glob("*.html"), *(site / "list").rglob("*.html")]:
        text = page.read_text(encoding="utf-8")
        own = re.findall(r' id="([^"]+)"', text)
        assert len(own) == len(set(own)), page.name
        for link in {html.unescape(link) for link in LINK.findall(text)}:
            target, _, anchor = link.partition("#")
            path = Path(f"{page.parent}/{target}").resolve() if target else page.resolve()
            if path not in ids:
                assert path.is_file(), (page.name, link)
                ids[path] = set(re.findall(r' id="([^"]+)"', path.read_text(encoding="utf-8")))
            assert not anchor or anchor in ids[path], (page.name, link)
            seen += 1
    assert seen > 5_000


def test_every_unit_has_a_page_and_every_mention_leads_to_it(site, con):
    units = [unit for (unit,) in con.execute("select distinct unit_id from record.unit").fetchall()]
    assert {path.relative_to(site).as_posix() for path in (site / "unit").iterdir()} == {name_page(unit) for unit in units}
    for page in [*site.glob("*.html"), *site.glob("vessel/*.html")]:
        for cell in re.findall(
            r'<t[hd](?: scope="row")? class="unit"[^>]*>(.*?)</t[hd]>', page.read_text(encoding="utf-8"), re.S
        ):
            names = [unit for unit in units if unit in strip_marks(cell)] if re.search(r"[A-Z]{3}-\d{6}", cell) else []
            assert all(name_page(unit) in cell for unit in names), (page.name, cell)
    for (unit,) in con.execute("select distinct unit_id from figure.overdue_now where not is_group").fetchall():
        assert name_page(unit) in (site / "overdue.html").read_text(encoding="utf-8")


def count_places(rows: list[tuple]) -> Counter:
    return Counter(f"{path}:{line}" for path, line in rows)


RECORDS_SQL = """
    select path, line_no from (select unit_id, file_id, line_no from {0}.inspection union all select unit_id, file_id, line_no from {0}.service
    union all select unit_id, file_id, line_no from {0}.finding {1}) join intake.file using (file_id) where unit_id = ?"""


def test_a_units_page_holds_every_record_with_its_file_and_line(site, con):
    units = [unit for (unit,) in con.execute("select distinct unit_id from record.unit order by all").fetchall()]
    replaced = [
        unit
        for (unit,) in con.execute("select unit_id from history.inspection union select unit_id from history.finding").fetchall()
    ]
    told = 0
    for unit in dict.fromkeys([*units[::9], *replaced]):
        page = read_page(site / name_page(unit))
        expected = con.execute(RECORDS_SQL.format("record", ""), [unit]).fetchall()
        old = con.execute(
            RECORDS_SQL.format("history", "union all select unit_id, file_id, line_no from history.unit"), [unit]
        ).fetchall()
        rows = page.tables.get("records", [[]])[1:]
        assert Counter(row[3] for row in rows) == count_places(expected + old), unit
        assert sum(row[2].startswith("REPLACED") for row in rows) == len(old)
        stays = con.execute(
            "select path, line_no from record.unit join intake.file using (file_id) where unit_id = ?", [unit]
        ).fetchall()
        assert Counter(row[6] for row in page.tables["stays"][1:]) == count_places(stays), unit
        told += len(rows)
    assert told > 2_000 and len(replaced) > 5


def test_a_units_page_holds_what_stands_against_it_and_its_duties(site, con):
    verdicts = con.execute("""
        select unit_id, reason, path, line_no, rule_id from (select unit_id, reason, file_id, line_no, rule_id from figure.verdict where verdict <> 'placement'
        union all select unit_id, reason, file_id, line_no, rule_id from figure.placement_now) left join intake.file using (file_id)""").fetchall()
    units = sorted({row[0] for row in verdicts})
    assert len(units) > 50
    for unit in units[::3]:
        page = read_page(site / name_page(unit))
        assert Counter((row[1], row[6]) for row in page.tables["against"][1:]) == Counter(
            (v[1], f"{v[2]}:{v[3]}") for v in verdicts if v[0] == unit
        )
        assert {f"../method.html#rule-{v[4]}" for v in verdicts if v[0] == unit} <= set(page.links)
        duties = con.execute("select duty, state from figure.duty_now where not is_group and unit_id = ?", [unit]).fetchall()
        shown = page.tables.get("duties", [[]])[1:]
        assert len([row for row in shown if "group" not in row[0]]) == len(duties)
        assert Counter(row[1] for row in shown if "group" not in row[0]) == Counter(state for _, state in duties)


def test_rows_kept_out_doubts_and_rank_stand_on_the_page(site, con):
    refused = con.execute(
        "select value, reason from intake.quarantine where rule = 'conflicting-rows' and table_name = 'inspection'"
    ).fetchall()
    assert refused
    for value, reason in refused:
        assert reason in read_page(site / name_page(value.split(",")[0])).text
    doubts = con.execute("""
        select u.unit_id, g.reason from intake.flag as g join record.unit as u using (file_id, record_no) where table_name = 'unit'""").fetchall()
    assert len(doubts) > 10
    for unit, reason in doubts[:10]:
        assert reason in read_page(site / name_page(unit)).text
    for unit, rank in con.execute(
        "select unit_id, list_rank from figure.watch_list where list_rank in (1, 2, 40, 200)"
    ).fetchall():
        text = read_page(site / name_page(unit)).text
        assert f"Rank {rank} of the watch list" in text and "never a verdict" in text


def test_a_unit_of_two_vessels_names_both_stays(site, con):
    (unit, first, last) = con.execute("""
        select unit_id, min_by(imo_number, in_service_on), max_by(imo_number, in_service_on) from record.unit group by unit_id
        having count(distinct imo_number) > 1 order by unit_id limit 1""").fetchone()
    page = read_page(site / name_page(unit))
    assert {f"../vessel/{first}.html", f"../vessel/{last}.html"} <= set(page.links) and len(page.tables["stays"]) == 3


def test_lists_and_units_are_light_and_carry_the_caution(site):
    units = sorted(path.stat().st_size for path in (site / "unit").iterdir())
    assert units[len(units) // 2] < 30_000 and units[-1] < 60_000
    pages = [*(site / "unit").iterdir(), *(site / "list").rglob("*.html")]
    assert max(page.stat().st_size for page in pages) < HEAVIEST_BYTES
    for page in pages:
        text = page.read_text(encoding="utf-8")
        assert "supports and never replaces" in text and "default-src 'none'" in text, page.name
        assert "plotly-graph" not in text and "data-chart" not in text


def test_long_lists_go_on_over_pages_and_none_is_lost(tmp_path, monkeypatch):
    monkeypatch.setattr(list_page, "PER_PAGE", 20)
    build_site(make_fixture_db(tmp_path / "a.duckdb", vessels=2, units=33, months=3), tmp_path / "site")
    counted = find_counted(tmp_path / "site")
    assert_counts_equal(counted)
    assert max(count for _, _, count, _ in counted) > 60 and (tmp_path / "site/list/fleet/duty-any.4.html").is_file()
    rows = [row[0] for row in read_list(tmp_path / "site/list/fleet/duty-any.html")]
    assert len(rows) == len(set(rows)) > 60


def test_beyond_its_last_page_a_list_goes_on_in_its_csv(tmp_path, monkeypatch):
    monkeypatch.setattr(list_page, "PER_PAGE", 20)
    monkeypatch.setattr(list_page, "MOST_PAGES", 2)
    build_site(make_fixture_db(tmp_path / "a.duckdb", vessels=2, units=33, months=3), tmp_path / "site")
    first, last = (tmp_path / f"site/list/fleet/duty-any{part}.html" for part in ("", ".2"))
    lines, held = read_twin(tmp_path / "site/data/list/fleet/duty-any-lines.csv"), len(read_rows(first)) + len(read_rows(last))
    assert held == 40 and not (tmp_path / "site/list/fleet/duty-any.3.html").exists()
    said = last.read_text(encoding="utf-8")
    assert f"{len(lines) - 40} further lines stand" in said and 'href="../../list/fleet/duty-any.html#lines"' in said
    assert len({line["unit"] for line in lines}) == len(lines) > 60
    assert [strip_marks(row[0]) for row in read_list(first)] == [line["unit"] for line in lines]
    assert all(line["why"] and line["path"] and line["line_no"] for line in lines)


def test_an_empty_fleet_has_neither_lists_nor_units(tmp_path):
    build_site(make_fixture_db(tmp_path / "a.duckdb", vessels=0), tmp_path / "site")
    assert not find_counted(tmp_path / "site") and not (tmp_path / "site/unit").exists() and not (tmp_path / "site/list").exists()


def test_no_two_names_of_files_are_alike_even_where_case_does_not_count():
    names = [name_safely(text) for text in {*ODD, *DEVICES}]
    assert len({name.casefold() for name in names}) == len(names) == len({*ODD, *DEVICES})
    assert all(re.fullmatch(r"[a-z0-9_-]{1,60}", name) and name.upper() not in DEVICES for name in names)
    assert name_safely("ASQ-100007") == "asq-100007" and name_safely("A/1") == name_safely("A/1")
    plain = name_safely("abc").replace("_", "-").upper()
    assert name_safely(plain) != name_safely("abc")


@pytest.fixture(scope="module")
def odd(tmp_path_factory) -> SimpleNamespace:
    """A vessel whose units' numbers would lead out of the folder, end a link or meet on a disk without case."""
    home = tmp_path_factory.mktemp("odd")
    (home / "in").mkdir()
    (home / "in/vessel.csv").write_text(f"imo_number,vessel_name\n{VESSEL_A},Quiet Heron\n", encoding="utf-8")
    rows = [f'"{unit}",{VESSEL_A},powder,portable,6,2015-01-31,2016-01-31' for unit in ODD]
    head = "unit_id,imo_number,agent,form,charge_kg,made_on,in_service_on"
    (home / "in/unit.csv").write_text("\n".join((head, *rows)) + "\n", encoding="utf-8")
    run(RunOptions((home / "in",), home / "store", home / "odd.duckdb", date(2026, 5, 10)))
    build_site(home / "odd.duckdb", home / "site")
    return SimpleNamespace(site=home / "site")


def test_odd_numbers_have_pages_of_their_own_inside_the_folder(odd):
    pages = {path.name: read_page(path) for path in (odd.site / "unit").iterdir()}
    assert len(pages) == len(ODD) and {path.name for path in (odd.site / "unit").iterdir()} == {
        Path(name_page(unit)).name for unit in ODD
    }
    for unit in ODD:
        assert unit[:150] in pages[Path(name_page(unit)).name].text
    assert_counts_equal(find_counted(odd.site))
    assert len(read_list(odd.site / "list/fleet/duty-any.html")) == len(ODD)
    for row in read_list(odd.site / "list/fleet/duty-any.html"):
        target = (odd.site / "list/fleet" / LINK.search(row[0])[1]).resolve()
        assert target.is_relative_to(odd.site.resolve() / "unit") and target.is_file()
