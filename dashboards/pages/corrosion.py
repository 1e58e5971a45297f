"""Corrosion: how does corrosion grow with age?

In: figure.corrosion_by_age. Out: corrosion.html. All of it speaks of units that are still in service: survivors only.
"""

from __future__ import annotations

import duckdb
from markupsafe import Markup

from dashboards import rate_charts, words
from dashboards.blocks import Chart, Column, Context, Page, Section, Table, name_columns
from dashboards.database import select_rows
from dashboards.pages.corrosion_shares import (
    EMPTY,
    LEAST_UNITS,
    Row,
    chart_split,
    name_band,
    pick_rows,
    read_share,
    say_band,
    say_limits,
    say_share,
)

GRADES = ("worst_ri1", "worst_ri2", "worst_ri3", "worst_ri4", "worst_ri5", "worst_ungraded")
SURVIVORS = (
    "Survivors only: a corroded unit that was condemned is no longer counted, so the share among old "
    "units understates what age does."
)
AGES_SQL = """
    SELECT age_band_years, agent, lining, space_category, units, units_corroded, share, low, high,
        worst_ri1, worst_ri2, worst_ri3, worst_ri4, worst_ri5, worst_ungraded
    FROM figure.corrosion_by_age
    ORDER BY agent, lining, space_category, regexp_extract(age_band_years, '^[0-9]+')::INTEGER"""


def chart_ages(rows: list[Row]) -> Chart:
    """The whole fleet by age."""
    mine = pick_rows(rows)
    columns = name_columns(
        "age_band_years=Age, years; units=Units looked at:count; units_corroded=Corrosion ever found:count; "
        "corroded_pct=Share (95 % interval):percent_interval"
    )
    cells = tuple((name_band(r), r.units, r.units_corroded, read_share(r)) for r in mine)
    rated = [r for r in mine if r.units >= LEAST_UNITS]
    if len(rated) < 2:
        title = "Too few units of different ages to compare"
    else:
        first, last = rated[0], rated[-1]
        apart = last.low > first.high
        title = (
            f"{words.say_percent(100 * last.share, 0)} at {say_band(last)}, "
            f"{words.say_percent(100 * first.share, 0)} at {say_band(first)}"
        ) + (": their intervals don't meet" if apart else ": their intervals overlap")
    figure = rate_charts.draw_intervals(
        [name_band(r) for r in mine],
        [read_share(r) for r in mine],
        [say_share(r) for r in mine],
        "units with corrosion ever found, %, by age in years",
    )
    return Chart(
        "ages",
        title,
        f"Share of the units in service on which corrosion was ever found, by age now. {SURVIVORS}",
        figure,
        Table("ages", "Units in service that were looked at, by age", columns, cells, empty=EMPTY),
    )


def list_grades(rows: list[Row]) -> Table:
    """The worst rust grade found, by age."""
    heads = ("Ri1", "Ri2", "Ri3", "Ri4", "Ri5", "Not graded")
    columns = (
        Column("age_band_years", "Age, years"),
        Column("units_corroded", "Corroded", "count"),
        *(Column(k, h, "count") for k, h in zip(GRADES, heads, strict=True)),
    )
    cells = tuple((name_band(r), r.units_corroded, *(getattr(r, g) for g in GRADES)) for r in pick_rows(rows))
    return Table(
        "grades",
        (
            "Units by the worst rust grade ever found on them (ISO 4628-3: Ri1 0.05 % rusted area, Ri2 0.5 %, Ri3 "
            "1 %, Ri4 8 %, Ri5 40 to 50 %)"
        ),
        columns,
        cells,
        empty=EMPTY,
    )


def say_band_share(row: Row) -> tuple[str, str, str, str]:
    """Age, units with corrosion, units, and the share with its interval."""
    return say_band(row), words.say_number(row.units_corroded), words.say_number(row.units), say_limits(row)


def write_answer(rows: list[Row], context: Context) -> str:
    """The oldest against the youngest that can be rated."""
    rated = [r for r in pick_rows(rows) if r.units >= LEAST_UNITS]
    day = words.say_date(context.as_of)
    if len(rated) < 2:
        return f"On {day} too few units of different ages have been looked at to say how corrosion grows with age."
    first, last = rated[0], rated[-1]
    said = (
        "Of the units in service on {} that are aged {}, corrosion was ever found on <strong>{} of {}</strong> ({}); "
        "of those aged {}, on {} of {} ({}). Survivors only: condemned units are no longer among them."
    )
    return Markup(said).format(day, *say_band_share(last), *say_band_share(first))


def make_page(con: duckdb.DuckDBPyConnection, context: Context) -> Page:
    """The page."""
    rows = select_rows(con, AGES_SQL)
    sections = (
        Section("ages", "By age", (chart_ages(rows), list_grades(rows)), f"{SURVIVORS} Intervals are 95 % (Wilson)."),
        Section("agent", "By agent", (chart_split(rows, "agent", "agent"),)),
        Section(
            "space",
            "By kind of space",
            (chart_split(rows, "space_category", "kind of space"),),
            "Where a unit stands now; it may have stood elsewhere before.",
        ),
        Section("lining", "By lining", (chart_split(rows, "lining", "lining"),)),
    )
    return Page("corrosion.html", "Corrosion", "How does corrosion grow with age?", write_answer(rows, context), sections)
