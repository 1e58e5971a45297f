"""Corrosion: how does corrosion differ with age?

In: figure.corrosion_by_age and what the modules corrosion_*.py read. Out: corrosion.html. Shares by age speak of units
that are still in service, survivors only; the curves of onset don't.
"""

from __future__ import annotations

from datetime import date

import duckdb
from markupsafe import Markup

from dashboards import words
from dashboards.blocks import Context, Page, Section
from dashboards.database import select_rows
from dashboards.pages import choices, corrosion_curves, corrosion_metal, corrosion_pits, corrosion_traits
from dashboards.pages.corrosion_ages import AGES_SQL, SURVIVORS, chart_ages, list_grades, pick_ends, tell_ages
from dashboards.pages.corrosion_shares import (
    LEAST_CLAIM,
    LEAST_UNITS,
    Row,
    chart_split,
    name_band,
    pick_rows,
    say_band,
    say_limits,
)
from dashboards.pages.list_reasons import name_band as name_list

SPLITS = (("space_category", "kind of space"), ("agent", "agent"), ("lining", "lining"))

# Months run from that of the earliest inspection or service.
BEGAN_SQL = "SELECT min(month_end) AS month_end FROM figure.overdue_monthly"


def say_band_share(row: Row, context: Context) -> tuple[str, str, str, str]:
    """Age, units with corrosion and units, each leading to its list, and the share with its interval."""
    corroded = context.say_count(row.units_corroded, name_list(row.age_band_years, "corroded"))
    return say_band(row), corroded, context.say_count(row.units, name_list(row.age_band_years, "age")), say_limits(row)


def say_oldest(rows: list[Row], context: Context) -> str | Markup:
    """'All 11 units of 20+ are foam', where the oldest band is all one agent: its share then tells of age and agent at once."""
    bands = pick_rows(rows)
    if not bands:
        return ""
    oldest = bands[-1]
    agents = [r for r in pick_rows(rows, "agent") if r.age_band_years == oldest.age_band_years and r.units]
    if len(agents) != 1 or len({r.agent for r in pick_rows(rows, "agent")}) < 2:
        return ""
    number = context.say_count(oldest.units, name_list(oldest.age_band_years, "age"))
    units = "The one unit" if oldest.units == 1 else Markup("All {} units").format(number)
    said = (units, name_band(oldest), words.say_verb(oldest.units, "is", "are"), words.say_slug(agents[0].agent))
    return Markup(" {} of {} {} {}.").format(*said)


def write_answer(rows: list[Row], began_on: date | None, context: Context) -> str:
    """The lowest and the highest of the bands that have units enough for a claim."""
    ends, day = pick_ends(rows), words.say_date(context.as_of)
    if ends is None:
        return (
            f"On {day} too few units of different ages have been looked at to say how corrosion differs with age: "
            f"at least two bands of {LEAST_CLAIM} units are wanted.{context.empty_why}"
        )
    said = (
        "Of the units in service on {} that are aged {}, corrosion was ever found on <strong>{} of {}</strong> ({}); "
        "of those aged {}, on {} of {} ({}). Ever found means found since records began{}. "
        "Survivors only: condemned units are no longer among them.{}"
    )
    began = f" in {words.say_month(began_on)}" if began_on else ""
    return Markup(said).format(
        day, *say_band_share(ends[1], context), *say_band_share(ends[0], context), began, say_oldest(rows, context)
    )


def list_onset_sections(rows: list[Row], curves: list[Row], models: list[Row]) -> tuple[Section, ...]:
    """When it begins, whether a difference is real, and where it begins earlier."""
    confirmed = (
        "Nobody sees corrosion begin. A finding is confirmed by rust grade Ri3 or worse, severity major or unfit, condemnation, or by two "
        "looks running; it began between the last clean look and that one. Units already corroded at their first look are left out: "
        "others like them had been condemned before. The corrected curve also allows for what services miss and what they report in error."
    )
    ratios = "Shares by age take units as independent; those of a vessel share its weather, so a difference near the edge is less sure. Ratios from one fit of the records as they stand, limits by vessel: what services miss delays both sides alike. Where a unit stood first."
    return (
        Section(
            "onset",
            "When it begins",
            (corrosion_curves.chart_curves(curves, models), corrosion_traits.tell_looks(models)),
            confirmed,
        ),
        Section(
            "real",
            "Is it real?",
            (tell_ages(rows), corrosion_traits.tell_deck(models), corrosion_traits.list_ratios(models)),
            ratios,
        ),
        Section(
            "where",
            "Where it begins earlier",
            tuple(corrosion_curves.chart_groups(curves, column, plain) for column, plain in SPLITS[:2]),
            "A group has a curve from twenty units on that were clean at their first service and reported later, and ten under watch at one age.",
        ),
    )


def list_metal_sections(con: duckdb.DuckDBPyConnection, context: Context) -> tuple[Section, ...]:
    """What corrosion takes."""
    steps, walls = select_rows(con, corrosion_metal.GRADES_SQL), select_rows(con, corrosion_metal.WALLS_SQL)
    pits, readings = select_rows(con, corrosion_pits.PITS_SQL), select_rows(con, corrosion_pits.READINGS_SQL)
    drawn = (
        "Each unit’s own loss is a line through its readings; drawn to the fleet it borrows from all others what its few readings don’t "
        "tell. A gain is a reading like any other. The records name no point of measurement: readings of a unit are taken as of one point."
    )
    extremes = "From twenty units on the deepest pits are fitted by a Gumbel law; with fewer, only the readings stand."
    return (
        Section("steps", "How it grows", (corrosion_metal.list_steps(steps),), corrosion_metal.say_steps(steps)),
        Section(
            "walls", "Wall that is lost", (corrosion_metal.tell_walls(walls), corrosion_metal.list_walls(walls, context)), drawn
        ),
        Section(
            "pits", "Pits", (corrosion_pits.list_pits(pits, context), corrosion_pits.list_readings(readings, context)), extremes
        ),
    )


def make_page(con: duckdb.DuckDBPyConnection, context: Context) -> Page:
    """The page."""
    rows, began = select_rows(con, AGES_SQL), select_rows(con, BEGAN_SQL)[0].month_end
    curves, models = select_rows(con, corrosion_curves.CURVES_SQL), select_rows(con, corrosion_curves.MODEL_SQL)
    sections = (
        *list_onset_sections(rows, curves, models),
        Section(
            "ages",
            "Found so far",
            (chart_ages(rows, context), list_grades(rows, context)),
            f"{SURVIVORS} Intervals are 95 % (Wilson). The column that never falls pools neighbours; bands of fewer than {LEAST_UNITS} units are left out of it.",
        ),
        Section(
            "splits",
            "Found so far, split",
            tuple(chart_split(rows, column, plain, context) for column, plain in SPLITS),
            "Where a unit stands now; it may have stood elsewhere before.",
        ),
        *choices.list_section(con, context, "corrosion"),
        *list_metal_sections(con, context),
    )
    return Page(
        "corrosion.html", "Corrosion", "How does corrosion differ with age?", write_answer(rows, began, context), sections
    )
