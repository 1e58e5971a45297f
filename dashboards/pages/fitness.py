"""Fitness: which units are unfit, to condemn or wrongly placed, and why?

In: figure.verdict, placement_now, station_now, number_now. Out: fitness.html. Every reason stands with its rule, its limit and the
line of the file that it rests on; nothing here comes from a model.
"""

from __future__ import annotations

from collections import Counter

import duckdb
from markupsafe import Markup

from dashboards import charts, words
from dashboards.blocks import Chart, Context, Page, Section, Table, name_columns
from dashboards.database import select_rows
from dashboards.pages import verdict_rows, verdict_words
from dashboards.pages.list_reasons import name_reason

# Not against a station: two units on it, a place that the plan does not name, nothing known.
NO_GAP = ("more than one unit", "unknown", "not on the plan")


def chart_reasons(name: str, rows: list[verdict_rows.Row], context: Context) -> Chart:
    """Units of one verdict by reason, most frequent first."""
    units = Counter(title for title, _ in {(r.title, (r.imo_number, r.unit_id)) for r in rows})
    ranked = sorted(units, key=lambda title: (-units[title], title))
    cells = tuple(
        (
            words.say_capital(title),
            context.count(units[title], name_reason(name, title)),
            words.cut_name(words.say_capital(title), charts.MOST_LABEL),
        )
        for title in ranked
    )
    columns = name_columns("reason=Reason:long; units=Units:count; label=Drawn as:text twin")
    said = f"{verdict_words.NAMES[name]}: units by reason; a unit can have several"
    table = Table(f"{name}-reasons", said, columns, cells, empty="No reason on record.")
    values = [units[title] for title in ranked]
    labels, most = [words.say_capital(title) for title in ranked], max(values, default=0)
    title = f"{labels[0]}: {words.say_of(most, verdict_rows.count_units(rows), 'unit')}" if rows else "No reason on record"
    figure = charts.draw_bars(labels, values, "units", [words.say_number(v) for v in values], [v == most for v in values])
    return Chart(
        f"{name}-reasons", title, "The most frequent reason first. Units aboard, spare and ashore ones too.", figure, table
    )


def make_section(name: str, rows: list[verdict_rows.Row], context: Context) -> Section:
    """One verdict: its reasons counted, and each of them."""
    mine = verdict_rows.pick(rows, name)
    table = verdict_rows.list_verdicts(name, verdict_words.NAMES[name], mine, context)
    chart = (chart_reasons(name, mine, context),) if mine else ()
    return Section(name, verdict_words.NAMES[name], (*chart, table), verdict_words.REMARKS.get(name, ""), is_wide=True)


def write_answer(rows: list, stations: list, numbers: list, context: Context) -> str:
    """How many are unfit, to condemn, misplaced; what the plans and the rules about numbers lack."""
    short = len({row.imo_number for row in numbers if row.state == "short"})
    gaps = sum(1 for row in stations if row.position_no and row.state not in NO_GAP)
    return Markup("On {} <strong>{}</strong> by the rules in force; {}. {}; {} fewer than the rules ask.").format(
        words.say_date(context.as_of),
        verdict_words.say_hard(rows, context),
        verdict_words.say_places(rows, context),
        f"{words.say_capital(words.say_count(gaps, 'station'))} {words.say_verb(gaps, 'is', 'are')} not covered as the fire plan asks"
        if gaps
        else "No station of a fire plan on record is uncovered",
        f"{words.say_count(short, 'vessel')} {words.say_verb(short, 'holds', 'hold')}",
    )


def make_page(con: duckdb.DuckDBPyConnection, context: Context) -> Page:
    """The page."""
    rows = verdict_rows.read_verdicts(con)
    stations, numbers = select_rows(con, verdict_rows.STATIONS_SQL), select_rows(con, verdict_rows.NUMBERS_SQL)
    wrong = [row for row in numbers if row.state != "met"]
    plan = (verdict_rows.list_stations(stations, context),)
    held = (verdict_rows.list_numbers(wrong, context),)
    sections = (
        *(make_section(name, rows, context) for name in ("condemn", "unfit", "placement")),
        Section("stations", "Fire plan", plan, verdict_words.REMARKS["stations"], is_wide=True),
        Section("numbers", "Numbers and spares", held, "Rules that are met are left out here.", is_wide=True),
        make_section("doubt", rows, context),
    )
    return Page(
        "fitness.html",
        "Fitness",
        "Which units are unfit, to be condemned or in the wrong place, and why?",
        write_answer(rows, stations, numbers, context),
        sections,
        is_caution_on_top=True,
    )
