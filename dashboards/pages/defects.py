"""Defects: what fails, where, on what?

In: the figures about defects. Out: defects.html. Every rate stands with its Garwood interval; where figure.defect_rate says that there
are too few to rate, only the count is shown.
"""

from __future__ import annotations

import duckdb

from dashboards import words
from dashboards.blocks import Chart, Context, Page, Section, Table
from dashboards.database import select_rows
from dashboards.pages import choices, defect_lasting, defect_pareto, defect_tables, defect_vessels, defect_words
from dashboards.pages.defect_rates import (
    RATES_SQL,
    Row,
    chart_rates,
    compare_top,
    name_kind,
    pick_rows,
    table_rates,
)

LEFT_OUT_SQL = """
    SELECT count(*) AS reports FROM figure.defect_report
    WHERE NOT is_counted AND found_on >= ($day::DATE + 1 - to_months(12))::DATE AND found_on <= $day::DATE"""
MOST_KINDS = 15


def chart_split(rows: list[Row], dimension: str, heading: str, plain: str, context: Context) -> Chart | Table:
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
        context,
    )


def list_kinds(rows: list[Row], context: Context) -> Table:
    """The rates of the kinds found most often."""
    mine = pick_rows(rows, "component", "defect")[:MOST_KINDS]
    return table_rates("kinds", "Component and defect", mine, [name_kind(r) for r in mine], context)


def make_page(con: duckdb.DuckDBPyConnection, context: Context) -> Page:
    """The page."""
    rows = select_rows(con, RATES_SQL)
    left_out = select_rows(con, LEFT_OUT_SQL, day=context.as_of)[0].reports
    pareto, vessels = select_rows(con, defect_pareto.PARETO_SQL), select_rows(con, defect_vessels.VESSELS_SQL)
    splits = (
        chart_split(rows, "component", "Component", "the components", context),
        chart_split(rows, "space_category", "Kind of space", "the kinds of space", context),
        chart_split(rows, "agent", "Agent", "the agents", context),
        chart_split(rows, "maker", "Maker", "the makers", context),
    )
    few = (
        "Intervals here are exact 95 % limits of a count (Garwood); the opening's allows for how much vessels differ. Fewer than 10 found: the count stands alone, "
        "it is too few to rate. The limits take finds as independent of each other; finds come in batches, at one call of "
        "a workshop or one keen round, so the true interval is wider."
    )
    provider = chart_split(rows, "provider", "Last serviced by", "the providers", context)
    real = (
        "Exact limits of the ratio of two counts, and limits within the same vessels that allow for finds in batches; the sentence gives "
        "the wider and claims a change only where both do."
    )
    apart = (
        "Whether vessels differ is tested before any is named: against chance, and against how much a vessel moves from one year to the "
        "next. Without evidence (p above .10) there is no order."
    )
    after = (
        "A unit serviced with a satisfactory outcome, and at the next looks within 90 days a major or unfit defect that was not known at "
        "the service. The units of one vessel and month stand or fall together in the limits. A provider that does older units will show more. The chart counts every defect found from the day after a service to the day of the next one."
    )
    sections = (
        Section(
            "real",
            "Is it real?",
            (defect_vessels.say_change(select_rows(con, defect_vessels.CHANGE_SQL)), defect_pareto.tell_first(pareto)),
            real,
        ),
        Section(
            "kinds",
            "What fails?",
            (defect_pareto.chart_pareto(pareto, context), *defect_pareto.list_rarer(pareto, context), list_kinds(rows, context)),
            few,
        ),
        Section(
            "where",
            "Where, on what?",
            splits,
            "Each rate is over the unit-years of that space or agent, so that many units don't look like many defects.",
        ),
        Section("vessels", "Vessel by vessel", (defect_vessels.chart_vessels(vessels, context),), apart),
        *choices.list_section(con, context, "defects"),
        Section(
            "closing",
            "Closing and repeats",
            (
                defect_lasting.list_lasting(select_rows(con, defect_lasting.CLOSING_SQL), context),
                defect_lasting.list_repeats(select_rows(con, defect_lasting.REPEAT_SQL), context),
                defect_tables.list_kinds(rows, context),
            ),
            (
                "A defect reported again while still open counts once. Found before: the same defect on the same unit, "
                "closed and then found anew."
            ),
        ),
        Section(
            "service",
            "After service",
            (defect_lasting.list_services(select_rows(con, defect_lasting.SERVICE_SQL), context), provider),
            after,
        ),
        Section("years", "Over the years", (defect_tables.list_periods(rows, context),)),
    )
    return Page(
        "defects.html",
        "Defects",
        "What fails, where, on what?",
        defect_words.write_answer(rows, vessels, left_out, context),
        sections,
    )
