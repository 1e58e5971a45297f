"""Defects: what fails, where, on what?

In: figure.defect_rate. Out: defects.html. Every rate stands with its Garwood interval; where figure.defect_rate says that there
are too few to rate, only the count is shown.
"""

from __future__ import annotations

import duckdb

from dashboards import words
from dashboards.blocks import Chart, Context, Page, Section, Table
from dashboards.database import select_rows
from dashboards.pages import defect_tables, defect_words
from dashboards.pages.defect_rates import (
    RATES_SQL,
    Row,
    chart_rates,
    compare_top,
    name_kind,
    pick_rows,
)

LEFT_OUT_SQL = """
    SELECT count(*) AS reports FROM figure.defect_report
    WHERE NOT is_counted AND found_on >= ($day::DATE + 1 - to_months(12))::DATE AND found_on <= $day::DATE"""
MOST_KINDS, MOST_VESSELS = 15, 40


def chart_split(rows: list[Row], dimension: str, heading: str, plain: str) -> Chart | Table:
    """Rates by one dimension, highest rate first, those without a rate last."""
    mine = sorted(pick_rows(rows, dimension), key=lambda r: (not r.is_rated, -r.per_100_unit_years, getattr(r, dimension)))
    labels = [words.say_slug(getattr(r, dimension)) for r in mine]
    return chart_rates(
        dimension,
        heading,
        mine,
        labels,
        compare_top(mine, labels, plain),
        f"{words.say_capital(plain)}, highest rate first, with 95 % intervals.",
    )


def chart_kinds(rows: list[Row]) -> Chart | Table:
    """The vital few: component and defect together, most found first."""
    mine = pick_rows(rows, "component", "defect")[:MOST_KINDS]
    every = sum(r.findings for r in pick_rows(rows, "component", "defect"))
    few = sum(r.findings for r in mine[:3])
    title = f"Three kinds make up {words.say_of(few, every, 'defect')} found" if len(mine) > 3 else "Defects found, by kind"
    said = (
        f"The {len(mine)} kinds found most often, with the rate per 100 unit-years and its 95 % interval. "
        "Intervals that overlap leave the order open."
    )
    return chart_rates("kinds", "Component and defect", mine, [name_kind(r) for r in mine], title, said)


def chart_vessels(rows: list[Row], context: Context) -> Chart | Table:
    """Vessels by name, never by rank, against the fleet's rate."""
    mine = [r for r in pick_rows(rows, "imo_number") if r.imo_number in context.by_imo]
    mine.sort(key=lambda r: (context.name_vessel(r.imo_number), r.imo_number))
    fleet = next(iter(pick_rows(rows)), None)
    clear = [r for r in mine if fleet and r.is_rated and (r.low > fleet.per_100_unit_years or r.high < fleet.per_100_unit_years)]
    title = (
        f"{words.say_number(len(clear)) if clear else 'None'} of {words.say_count(len(mine), 'vessel')} "
        f"{words.say_verb(len(clear), 'has', 'have')} an interval that leaves out the fleet's rate"
        if len(mine) > 1
        else "One vessel alone: its rate is the fleet's"
    )
    said = (
        "In order of name, not of rate. The rate follows how closely a crew looks as well as the state of its "
        "units; one vessel in twenty lies outside by chance alone."
    )
    return chart_rates(
        "vessels",
        "Vessel",
        mine[:MOST_VESSELS],
        [context.name_vessel(r.imo_number) for r in mine[:MOST_VESSELS]],
        title,
        said,
        fleet,
    )


def make_page(con: duckdb.DuckDBPyConnection, context: Context) -> Page:
    """The page."""
    rows = select_rows(con, RATES_SQL)
    left_out = select_rows(con, LEFT_OUT_SQL, day=context.as_of)[0].reports
    splits = (
        chart_split(rows, "component", "Component", "the components"),
        chart_split(rows, "space_category", "Kind of space", "the kinds of space"),
        chart_split(rows, "agent", "Agent", "the agents"),
    )
    few = (
        "Intervals are exact 95 % limits of a count (Garwood). Fewer than 10 found: the count stands alone, "
        "it is too few to rate. The limits take finds as independent of each other; finds come in batches, at one call of "
        "a workshop or one keen round, so the true interval is wider."
    )
    sections = (
        Section("kinds", "What fails?", (chart_kinds(rows),), few),
        Section(
            "where",
            "Where, on what?",
            splits,
            "Each rate is over the unit-years of that space or agent, so that many units don't look like many defects.",
        ),
        Section("vessels", "Vessel by vessel", (chart_vessels(rows, context),)),
        Section(
            "closing",
            "Closing and repeats",
            (defect_tables.list_kinds(rows),),
            (
                "A defect reported again while still open counts once. Found before: the same defect on the same unit, "
                "closed and then found anew."
            ),
        ),
        Section("years", "Over the years", (defect_tables.list_periods(rows),)),
    )
    return Page(
        "defects.html", "Defects", "What fails, where, on what?", defect_words.write_answer(rows, left_out, context), sections
    )
