"""Data quality: can I trust this?

In: schema intake, figure.freshness. Out: data-quality.html. Rows read = loaded + quarantined + duplicate, for each file; a
quarantined row that a later file answers stays in that sum, and leaves the lists of what is to be mended.
"""

from __future__ import annotations

import duckdb
from markupsafe import Markup

from dashboards import charts, words
from dashboards.blocks import Chart, Context, Page, Section, Table, name_columns
from dashboards.database import select_rows
from dashboards.pages import quality_data, quality_mending, quality_tables


def write_answer(data: quality_data.QualityData, context: Context) -> str:
    """How much came, how much of it counts."""
    if not data.files:
        return "No file has been received, so there is nothing to trust or to doubt."
    read, loaded, bad, same = (
        sum(getattr(f, k) for f in data.files) for k in ("rows_read", "rows_loaded", "rows_quarantined", "rows_duplicate")
    )
    vessels = [f for f in data.fresh if f.imo_number in context.by_imo]
    quiet = sum(1 for f in vessels if f.is_quiet)
    late = ""
    if vessels:
        number = f"{words.say_number(quiet)} of {words.say_count(len(vessels), 'vessel')}" if quiet else "none"
        late = f"Vessels without a record for more than {words.say_count(vessels[0].quiet_after_days, 'day')}, those laid up apart: {number}."
    tail = " ".join(part for part in (quality_mending.say_answered(data), late) if part)
    return Markup("{} brought {} rows: {} loaded, {} already known, and <strong>{}</strong> kept out with a reason. {}").format(
        words.say_capital(words.say_count(len(data.files), "file")),
        words.say_number(read),
        words.say_number(loaded),
        words.say_number(same),
        words.say_of(bad, read, "row"),
        tail,
    )


def say_none_open(data: quality_data.QualityData) -> str:
    """Why nothing is to be mended."""
    return "Later files answer every row that was kept out." if data.answered else "No row was kept out."


def chart_rules(data: quality_data.QualityData) -> Chart:
    """Open rows by reason."""
    total = sum(r.rows for r in data.quarantine_rules)
    columns = name_columns("rule=Rule:code; rows=Reasons noted:count; files=In files:count")
    table = Table(
        "rules",
        "Reasons for keeping rows out that no later file answers, by rule; one row can have several",
        columns,
        tuple((r.rule, r.rows, r.files) for r in data.quarantine_rules),
        empty=say_none_open(data),
    )
    most = max((r.rows for r in data.quarantine_rules), default=0)
    top = [r.rule for r in data.quarantine_rules if r.rows == most]
    title = (
        f"Most frequent: {words.say_list(top[:3])}, {most} of {words.say_count(total, 'reason')}{' each' if len(top) > 1 else ''}"
        if most
        else say_none_open(data)
    )
    figure = charts.draw_bars(
        [r.rule for r in data.quarantine_rules],
        [r.rows for r in data.quarantine_rules],
        "reasons noted",
        [words.say_number(r.rows) for r in data.quarantine_rules],
        [r.rows == most for r in data.quarantine_rules],
    )
    return Chart(
        "rules",
        title,
        "A row is kept out rather than guessed at; correct it at its source and load the file again.",
        figure,
        table,
    )


def make_page(con: duckdb.DuckDBPyConnection, context: Context) -> Page:
    """The page."""
    data, stated = quality_data.read_quality(con), select_rows(con, quality_tables.STATED_SQL)
    bad = quality_tables.list_rows(
        "quarantined",
        "for keeping a row out that no later file answers",
        data.quarantined,
        say_none_open(data) if data.answered else "Every row that came could be read and counts.",
    )
    doubtful = quality_tables.list_rows("flagged", "for doubt", data.flagged, "No loaded row is in doubt.")
    sections = (
        Section(
            "quarantine", "Kept out", (chart_rules(data),), "Rows that can't be read with certainty count nowhere on this site."
        ),
        quality_mending.tell_sending(data),
        Section("quarantined", "Each open row", (bad,), is_wide=True),
        *quality_mending.tell_declared(data),
        Section(
            "doubts", "In doubt", (quality_tables.list_flags(data),), "These rows count; something about them deserves a look."
        ),
        Section("flagged", "Each doubt", (doubtful,), is_wide=True),
        Section(
            "stated",
            "Dates that reports state",
            (quality_tables.list_stated(stated, context),),
            "Never taken over: the rule in force gives the due date.",
            is_wide=True,
        ),
        Section(
            "freshness",
            "How fresh",
            (quality_tables.list_freshness(data, context),),
            "A vessel that sends nothing looks the same as one on which nothing happens.",
        ),
        Section(
            "checks", "Checks", (quality_tables.list_checks(data, True), quality_tables.list_checks(data, False)), is_wide=True
        ),
        Section(
            "files",
            "Files received",
            (quality_tables.list_files(data),),
            "Every row of every file is accounted for.",
            is_wide=True,
        ),
    )
    return Page("data-quality.html", "Data quality", "Can I trust this?", write_answer(data, context), sections)
