"""Defects: what fails, where, on what?

In: figure.defect_rate. Out: defects.html. Every rate stands with its Garwood interval; where figure.defect_rate says that there
are too few to rate, only the count is shown.
"""

from __future__ import annotations

import duckdb
from markupsafe import Markup

from dashboards import words
from dashboards.blocks import Chart, Context, Page, Section
from dashboards.database import select_rows
from dashboards.pages import defect_tables
from dashboards.pages.defect_rates import (
    RATES_SQL,
    Row,
    chart_rates,
    compare_top,
    name_kind,
    pick_rows,
)

MOST_KINDS, MOST_VESSELS = 15, 40


def chart_split(rows: list[Row], dimension: str, heading: str, plain: str) -> Chart:
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


def chart_kinds(rows: list[Row]) -> Chart:
    """The vital few: component and defect together, most found first."""
    mine = pick_rows(rows, "component", "defect")[:MOST_KINDS]
    every = sum(r.findings for r in pick_rows(rows, "component", "defect"))
    few = sum(r.findings for r in mine[:3])
    title = (
        f"Three kinds make up {words.say_share(few, every)} of the defects found" if len(mine) > 3 else "Defects found, by kind"
    )
    said = (
        f"The {len(mine)} kinds found most often, with the rate per 100 unit-years and its 95 % interval. "
        "Intervals that overlap leave the order open."
    )
    return chart_rates("kinds", "Component and defect", mine, [name_kind(r) for r in mine], title, said)


def chart_vessels(rows: list[Row], context: Context) -> Chart:
    """Vessels by name, never by rank, against the fleet's rate."""
    mine = [r for r in pick_rows(rows, "imo_number") if r.imo_number in context.by_imo]
    mine.sort(key=lambda r: (context.name_vessel(r.imo_number), r.imo_number))
    fleet = next(iter(pick_rows(rows)), None)
    clear = [r for r in mine if fleet and r.is_rated and (r.low > fleet.per_100_unit_years or r.high < fleet.per_100_unit_years)]
    title = (
        f"{len(clear) or 'None'} of {words.say_count(len(mine), 'vessel')} {'has' if len(clear) == 1 else 'have'} "
        "an interval that leaves out the fleet's rate"
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


def write_answer(rows: list[Row], context: Context) -> str:
    """How much is found, and of what most."""
    fleet = next(iter(pick_rows(rows)), None)
    kinds = [r for r in pick_rows(rows, "component", "defect") if r.findings]
    day = words.say_date(context.as_of)
    if fleet is None or not kinds:
        return (
            f"In the twelve months to {day} no defect is on record, over {words.say_number(fleet.unit_years if fleet else 0, 1)} "
            "unit-years under observation."
        )
    rate = (
        (
            f", {words.say_number(fleet.per_100_unit_years, 1)} per 100 unit-years (95 % interval "
            f"{words.say_number(fleet.low, 1)} to {words.say_number(fleet.high, 1)})"
        )
        if fleet.is_rated
        else ", too few to rate"
    )
    return Markup(
        "In the twelve months to {} <strong>{}</strong> were found in {} unit-years under observation{}. "
        "Found most often: {} ({} of {})."
    ).format(
        day,
        words.say_count(fleet.findings, "defect"),
        words.say_number(fleet.unit_years),
        rate,
        name_kind(kinds[0]),
        words.say_number(kinds[0].findings),
        words.say_number(fleet.findings),
    )


def make_page(con: duckdb.DuckDBPyConnection, context: Context) -> Page:
    """The page."""
    rows = select_rows(con, RATES_SQL)
    splits = (
        chart_split(rows, "component", "Component", "the components"),
        chart_split(rows, "space_category", "Kind of space", "the kinds of space"),
        chart_split(rows, "agent", "Agent", "the agents"),
    )
    few = (
        "Intervals are exact 95 % limits of a count (Garwood). Fewer than 10 found: the count stands alone, "
        "it is too few to rate."
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
                "A defect reported again while still open counts once. Found again: the same defect on the same unit "
                "after it was closed."
            ),
        ),
        Section("years", "Over the years", (defect_tables.list_periods(rows),)),
    )
    return Page("defects.html", "Defects", "What fails, where, on what?", write_answer(rows, context), sections)
