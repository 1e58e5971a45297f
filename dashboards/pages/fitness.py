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
from dashboards.pages import verdict_rows

NAMES = {"condemn": "to condemn", "unfit": "unfit", "placement": "wrong place, colour or size", "doubt": "to be looked at"}
MARKS = {"condemn": "condemn", "unfit": "unfit", "placement": "place"}


def chart_reasons(rows: list) -> Chart:
    """Units by rule, hard reasons first."""
    hard = verdict_rows.pick(rows, "condemn", "unfit", "placement")
    units = Counter((verdict, title) for verdict, title, _ in {(r.verdict, r.title, (r.imo_number, r.unit_id)) for r in hard})
    ranked = sorted(units, key=lambda key: (list(NAMES).index(key[0]), -units[key], key[1]))
    columns = name_columns("label=Drawn as; reason=Reason:long; verdict=Verdict; units=Units:count")
    labels = [words.cut_name(f"{MARKS[verdict]}: {title}", charts.MOST_LABEL) for verdict, title in ranked]
    values = [units[key] for key in ranked]
    cells = tuple((label, title, NAMES[verdict], n) for label, (verdict, title), n in zip(labels, ranked, values, strict=True))
    top = max(values, default=0)
    title = (
        f"Most units: {next(la for la, v in zip(labels, values, strict=True) if v == top)}"
        if top
        else "No reason against any unit"
    )
    figure = charts.draw_bars(labels, values, "units", [words.say_number(v) for v in values], [v == top for v in values])
    table = Table("reasons", "Units by reason; a unit can have several", columns, cells, empty="No reason on record.")
    return Chart("reasons", title, "Units against which a rule speaks, by reason; hard reasons first.", figure, table)


def write_answer(rows: list, stations: list, numbers: list, context: Context) -> str:
    """How many are unfit, to condemn, misplaced."""
    day = words.say_date(context.as_of)
    count = {name: verdict_rows.count_units(verdict_rows.pick(rows, name)) for name in NAMES}
    short = len({row.imo_number for row in numbers if row.state == "short"})
    open_stations = sum(
        1 for row in stations if row.position_no and row.state not in ("more than one unit", "unknown", "not on the plan")
    )
    return Markup(
        "On {} <strong>{}</strong> {} unfit and <strong>{}</strong> {} to be condemned by the rules in force; {} in a wrong place, or of a "
        "wrong colour or size; {} not covered as the fire plan asks; {} short of what the rules ask them to hold."
    ).format(
        day,
        words.say_count(count["unfit"], "unit"),
        words.say_verb(count["unfit"], "is", "are"),
        words.say_number(count["condemn"]),
        words.say_verb(count["condemn"], "is", "are"),
        f"{words.say_count(count['placement'], 'unit')} {words.say_verb(count['placement'], 'is', 'are')}",
        f"{words.say_count(open_stations, 'station')} {words.say_verb(open_stations, 'is', 'are')}",
        f"{words.say_count(short, 'vessel')} {words.say_verb(short, 'is', 'are')}",
    )


def make_page(con: duckdb.DuckDBPyConnection, context: Context) -> Page:
    """The page."""
    rows = verdict_rows.read_verdicts(con)
    stations, numbers = select_rows(con, verdict_rows.STATIONS_SQL), select_rows(con, verdict_rows.NUMBERS_SQL)
    tables = {
        name: verdict_rows.list_verdicts(name, words.say_capital(said), verdict_rows.pick(rows, name), context)
        for name, said in NAMES.items()
    }
    wrong = [row for row in numbers if row.state != "met"]
    sections = (
        Section("reasons", "By reason", (chart_reasons(rows),), "Units aboard, spare and ashore ones too."),
        Section(
            "condemn",
            "To condemn",
            (tables["condemn"],),
            "Hard reasons, each by a rule. A closed finding does not mend a shell.",
            is_wide=True,
        ),
        Section("unfit", "Unfit", (tables["unfit"],), "Not to be relied on until put right and recorded.", is_wide=True),
        Section("placement", "Wrong place, colour or size", (tables["placement"],), "", is_wide=True),
        Section(
            "stations",
            "Fire plan",
            (verdict_rows.list_stations(stations, context),),
            "An unfit unit covers no station.",
            is_wide=True,
        ),
        Section(
            "numbers",
            "Numbers and spares",
            (verdict_rows.list_numbers(wrong, context),),
            "Rules that are met are left out here.",
            is_wide=True,
        ),
        Section("doubt", "To be looked at", (tables["doubt"],), "Doubts, no verdicts: a competent person decides.", is_wide=True),
    )
    return Page(
        "fitness.html",
        "Fitness",
        "Which units are unfit, to be condemned or in the wrong place, and why?",
        write_answer(rows, stations, numbers, context),
        sections,
        is_caution_on_top=True,
    )
