"""Words, cells, colours: the small parts that every page leans on."""

from __future__ import annotations

import csv
import io
import json
import random
import re
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path
from types import SimpleNamespace

import pytest

from dashboards import charts, palette, rate_charts, render, tables, time_charts, twins, words
from dashboards.blocks import Anchor, Column, Count, Link, Run, Table, name_columns
from dashboards.pages.defect_rates import name_kind
from dashboards.pages.due_rows import say_positions
from dashboards.pages.vessel_lists import say_positions as say_list_positions
from pipeline.spreadsheet import guard

STYLE = (Path(charts.__file__).parent / "assets" / "style.css").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        (words.say_number(1234567), "1,234,567"),
        (words.say_number(-3), "\u22123"),
        (words.say_number(0.25, 1), "0.3"),
        (words.say_number(None), "\u2013"),
        (words.say_change(4), "+4"),
        (words.say_change(0), "0"),
        (words.say_date(date(2026, 10, 1)), "1\u00a0Oct\u00a02026"),
        (words.say_part_date(date(2014, 1, 1), "year"), "2014"),
        (words.say_part_date(date(2014, 3, 1), "month"), "Mar\u00a02014"),
        (words.say_share(14, 271), "5.2\u00a0% (14 of 271)"),
        (words.say_share(0, 0), "no units to count"),
        (words.say_interval(None, None, None), "too few to rate"),
        (words.say_interval(14.34, 10.05, 19.7), "14.3 (10.1 to 19.7)"),
        (words.say_count(1, "unit"), "1 unit"),
        (words.say_count(0, "unit"), "no units"),
        (words.say_difference(-3, "on Friday"), "3 fewer than on Friday"),
        (words.say_difference(0, "on Friday"), "as many as on Friday"),
        (words.say_list(["a", "b", "c"]), "a, b and c"),
        (words.say_slug("co2"), "CO2"),
        (words.say_charge(None, 6.0), "6\u00a0kg"),
        (words.say_of(94, 258, "unit"), "94 of 258 units (36.4\u00a0%)"),
        (words.say_of(1, 1, "unit"), "1 of 1 unit (100.0\u00a0%)"),
        (words.say_part(54, 68), "54 of 68 (79\u00a0%)"),
        (words.say_part(3, 7), "3 of 7"),
        (words.say_part(None, 0), "\u2013"),
        (words.say_month_to(date(2026, 10, 31)), "Oct 2026"),
        (words.say_month_to(date(2026, 10, 14)), "1\u201314\u00a0Oct\u00a02026"),
        (words.say_month_to(date(2028, 2, 28)), "1\u201328\u00a0Feb\u00a02028"),
        (words.cut_name("n" * 60), "n" * 39 + "\u2026"),
        (charts.clean_labels(["n" * 50, "n" * 60, "<b>"]), ["n" * 39 + "\u2026", "n" * 39 + "\u2026 (2)", "&lt;b&gt;"]),
        (say_list_positions(["FE-01"]), "position FE-01"),
        (say_list_positions(["FE-01", "FE-02"]), "positions FE-01, FE-02"),
        (name_kind(SimpleNamespace(component="lining", defect="lining_failed")), "lining failed"),
        (name_kind(SimpleNamespace(component="hose", defect="damaged")), "hose damaged"),
        (say_positions(["FE-2", "FE-10", "FE-1", "FE-3", "X"]), "FE-1 to FE-3, FE-10, X"),
        (say_positions(["07", "08"]), "07, 08"),
    ],
)  # fmt: skip
def test_words(said, expected):
    assert said == expected


@pytest.mark.parametrize("text", ["=1+1", "+cmd", "-2+3", "@SUM(A1)", "\t=1", "\r=1", "-", '=HYPERLINK("x")'])
def test_formula_cells_are_guarded(text):
    assert guard(text) == "'" + text


@pytest.mark.parametrize("text", ["-3", "+4.5", "-0.25", "1e-3", "plain", "", "14 = 2 x 7", "31-Oct"])
def test_numbers_and_words_are_not_guarded(text):
    assert guard(text) == text


def test_csv_twin_splits_and_guards():
    columns = name_columns(
        "vessel=Vessel:link; late=Late:share; rate=Rate:interval; made=Made:part_date; =x=Odd; where=Where:file_line"
    )
    rows = (
        (Link("=evil", "a.html"), (1, 4), (2.5, 1.0, None), (date(2014, 1, 1), "year"), -3, ("a.csv", 7)),
        (Link("Plain, quoted \"x\"", "b.html"), (None, 0), (None, None, None), (None, None), None, (None, None)),
    )  # fmt: skip
    read = list(csv.reader(io.StringIO(twins.write_csv(Table("t", "T", columns, rows)))))
    assert read[0] == [
        "vessel",
        "late_count",
        "late_of",
        "late_pct",
        "rate",
        "rate_low",
        "rate_high",
        "made",
        "",
        "where",
        "line_no",
    ]
    assert read[1] == ["'=evil", "1", "4", "25", "2.5", "1", "", "2014", "-3", "a.csv", "7"]
    assert read[2] == ['Plain, quoted "x"', "", "0", "", "", "", "", "", "", "", ""]


def test_cells_escape_what_comes_from_data():
    columns = name_columns("name=Name:link; note=Note; state=State:state; path=Path:path; unit=Unit:unit")
    evil = '<img src=x onerror="a()">'
    (row,) = tables.write_body(Table("t", "T", columns, ((Link(evil, "a.html"), evil, evil, evil, evil),)))
    assert "<img" not in row and row.count("&lt;img") == 5


def test_chart_data_cannot_end_its_element():
    written = render.write_json({"text": "</script><!-- & -->", "none": None})
    assert not set("<>&") & set(written) and json.loads(written) == {"text": "</script><!-- & -->", "none": None}
    with pytest.raises(ValueError):
        render.write_json({"y": [float("nan")]})


def test_sparks_of_one_table_share_a_scale():
    columns = name_columns("v=Vessel; s=Trend:spark")
    low, high = tables.write_body(Table("t", "T", columns, (("a", (0.0, 1.0)), ("b", (0.0, 10.0)))))
    ends = [re.search(r'cy="([\d.]+)"', row)[1] for row in (low, high)]
    assert ends == ["20.0", "2.0"]


def test_spark_tells_its_peak():
    (row,) = tables.write_body(Table("t", "T", name_columns("v=Vessel; s=Trend:spark"), (("a", (1.0, 7.5, 2.0)),)))
    assert 'aria-label="from 1.0\u00a0% to 2.0\u00a0%, highest 7.5\u00a0%"' in row


def test_columns_of_the_twin_alone_and_of_the_page_alone():
    columns = name_columns("unit=Unit; said=Said:page_text; done=Done:paper; unit_id=Unit:code twin")
    table = Table("t", "T", columns, (("a", "in words", None, "A-1"),))
    (row,) = tables.write_body(table)
    assert "in words" in row and "A-1" not in row and 'class="paper"' in row
    assert twins.write_csv(table) == "unit,unit_id\r\na,A-1\r\n"


@pytest.mark.parametrize(
    ("cell", "said"),
    [((0, None), "none"), ((1, "major"), "1 major"), ((3, "minor"), "3, worst minor"), ((2, None), "2 without severity")],
)
def test_open_findings_in_words(cell, said):
    assert tables.write_found(cell) == said


def test_unfit_findings_have_a_shape_and_sort_first():
    assert 'class="state late"' in tables.write_found((1, "unfit")) and "1 unfit" in tables.write_found((1, "unfit"))
    keys = [int(tables.write_sort_key("found", cell)) for cell in [(0, None), (9, "minor"), (2, "major"), (1, "unfit")]]
    assert keys == sorted(keys)


def test_panels_with_limits_join_no_points():
    band = charts.Series("a", ("0\u20134", "5\u20139"), (10.0, 20.0), (5.0, 10.0), (15.0, 30.0))
    assert time_charts.draw_panels([band], False)["data"][0]["mode"] == "markers"


def test_line_labels_keep_apart_and_in_order():
    placed = time_charts.spread_labels([5.0, 5.1, 0.0], 10.0)
    assert placed[0] == 5.0 and placed[1] >= placed[0] + 10 * time_charts.LABEL_GAP - 1e-9 and placed[2] == 0.0


def test_no_rate_without_an_interval():
    figure = rate_charts.draw_intervals(
        ["a", "b"], [(2.0, 1.0, 4.0), (None, None, None)], ["2 (1 to 4)", "3 found, too few to rate"], "per 100"
    )
    dots, said = figure["data"]
    assert dots["x"] == [2.0] and dots["error_x"]["array"] == [2.0] and dots["error_x"]["arrayminus"] == [1.0]
    assert said["x"] == [4.0, 0] and "too few" in said["text"][1]


def read_scheme(block: str) -> dict[str, str]:
    return dict(re.findall(r"--([\w-]+):\s*(#[0-9a-f]{3,6})", block))


def contrast(one: str, other: str) -> float:
    """WCAG 2 contrast ratio (W3C recommendation, relative luminance of sRGB; formula from memory)."""

    def luminance(colour: str) -> float:
        digits = colour[1:] if len(colour) == 7 else "".join(c * 2 for c in colour[1:])
        parts = [int(digits[i : i + 2], 16) / 255 for i in (0, 2, 4)]
        linear = [p / 12.92 if p <= 0.03928 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


LIGHT = read_scheme(STYLE[STYLE.index(":root {") : STYLE.index("@media screen")])
DARK = LIGHT | read_scheme(STYLE[STYLE.index("@media screen") : STYLE.index("*, *::before")])


@pytest.mark.parametrize("scheme", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("name", ["ink", "muted", "accent", "limit", "late", "unsure", "fine"])
def test_text_contrast(scheme, name):
    assert contrast(scheme[name], scheme["ground"]) >= 4.5


@pytest.mark.parametrize("scheme", [LIGHT, DARK], ids=["light", "dark"])
def test_quiet_bars_and_field_borders_read(scheme):
    # WCAG 1.4.11: 3:1 for what a chart or a field is told by.
    assert contrast(scheme["mark"], scheme["ground"]) >= 3


@pytest.mark.parametrize("scheme", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("agent", palette.AGENTS)
def test_agents_read_on_their_colour_and_on_the_ground(scheme, agent):
    slug = agent.replace("_", "-")
    assert contrast(scheme[f"on-{slug}"], scheme[f"agent-{slug}"]) >= 4.5
    # WCAG 1.4.11: 3:1 for the outline that carries a cream or a black bar.
    assert contrast(scheme["outline"], scheme["ground"]) >= 3
    assert scheme["agent-co2"] != scheme["outline"] or contrast(scheme["agent-co2"], scheme["ground"]) >= 3


def test_every_colour_a_chart_may_name_is_in_the_sheet():
    source = "".join(path.read_text(encoding="utf-8") for path in Path(charts.__file__).parent.glob("*.py"))
    named = set(re.findall(r"var\(--([a-z0-9-]+)\)", source)) | {palette.pick_agent_colour(a)[6:-1] for a in palette.AGENTS}
    assert len(named) > 12 and named <= set(LIGHT)


@pytest.mark.parametrize(
    ("value", "said"), [(21.2462, "21.2"), (9.746, "9.7"), (0.0497, "0.0"), (21.25, "21.3"), (99.949, "99.9")]
)
def test_a_rate_is_rounded_once(value, said):
    """Rates come to tables with more places than are written: 21.246 half up to two and then to one would be 21.3."""
    kept = words.round_to(value, 6)
    assert words.say_number(kept, 1) == words.say_number(value, 1) == said


def test_every_rate_on_the_pages_is_rounded_once(con, site):
    """Limits of the defects' rates as DuckDB holds them, against the CSV that the page's chart draws."""
    wanted = con.execute("select low, high from figure.defect_rate where low is not null").fetchall()
    said = {f"{words.say_number(low, 1)} to {words.say_number(high, 1)}" for low, high in wanted}
    shown = re.findall(r"\(([\d.,]+ to [\d.,]+)\)", (site / "defects.html").read_text(encoding="utf-8").partition('id="real"')[2])
    assert len(set(shown) & said) > 20


MIXED = (None, "", "=1+1", "'=x", "a", True, False, 1, 0, 1.0, -0.0, 0.00001, Decimal("1"), Decimal("1.00"), date(2026, 1, 2), datetime(2026, 1, 2),
         Link("=a", "b.html"), Anchor("c", "d"), Count(7, "list/a.html"), Count(7, "list/a.html", "7 units"), Run(("x", Link("y", "z"))), (1, None))  # fmt: skip


@pytest.mark.parametrize("seed", range(40))
def test_a_csv_written_by_columns_is_that_written_cell_by_cell(seed):
    """Columns of one type and of several, where values that are equal (1, 1.0, true) are not alike."""
    pick = random.Random(seed)
    parts = [(3, 12), (None, 5), (Count(3, "list/b.html"), 9), (0, 0)]
    intervals = [(1.25, 0.5, 2), (None, None, None), (Count(4, "list/c.html"), 3, 5)]
    kinds = {
        "text": pick.choice([MIXED, MIXED[:5], (None, *MIXED[5:7]), MIXED[7:9], MIXED[9:12], MIXED[12:14], (None, date(2026, 1, 2))]),
        "count": (None, 5, 5, 1234, Count(5, "list/a.html")),
        "share": parts,
        "part": parts,
        "interval": intervals,
        "file_line": [("a.csv", 1), (None, None), ("=b.csv", 2)],
        "found": [(2, "major"), (None, None)],
        "part_date": [(date(2026, 1, 2), "month"), (None, None), (date(2025, 3, 4), "day")],
        "blank": (None,),
    }  # fmt: skip
    columns = tuple(Column(kind, kind, kind) for kind in pick.sample(sorted(kinds), len(kinds)))
    rows = tuple(tuple(pick.choice(kinds[column.kind]) for column in columns) for _ in range(pick.randrange(1, 30)))
    shown = [column for column in columns if not column.is_page_only]
    expected = [[part.format(c.key) for c in shown for part in tables.PARTS.get(c.kind, ("{}",))]]
    for row in rows:
        cells = [(c.kind, tables.take_number(value)) for c, value in zip(columns, row, strict=True) if c in shown]
        expected.append([guard(twins.write_plain(part)) for kind, value in cells for part in twins.split_value(kind, value)])
    assert list(csv.reader(io.StringIO(twins.write_csv(Table("t", "T", columns, rows))))) == expected
