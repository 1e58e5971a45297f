"""What changed between two moments: a page of its own, beside its CSV.

In: schema `change` (pipeline/evidence/changes*.sql). Out: changes.html: in one sentence what the overdue units became and why, then
what came, what was declared, and every difference in order of figures.
"""

from __future__ import annotations

from typing import Any

import duckdb
from markupsafe import Markup

from dashboards import words
from dashboards.blocks import Context, Link, Note, Page, Section, Table
from dashboards.database import select_rows
from dashboards.pages import changes_words
from dashboards.pages.changes_given import make_table, tell_given

ASKED_SQL = "SELECT * FROM change.asked"
OVERDUE_SQL = "SELECT overdue_then, overdue_now FROM change.overdue WHERE imo_number = $scope"
REASONS_SQL = """
    SELECT r.imo_number, unit_id, sign, how, records, first_day, last_day
    FROM change.unit_reason AS r, change.asked WHERE duty = '*' AND measure = 'overdue' AND month_end = as_of
    ORDER BY sign, how, r.imo_number, unit_id"""
WAYS_SQL = "SELECT * FROM change.way ORDER BY ALL"
CELLS_SQL = """
    SELECT c.*, coalesce(s.said, replace(c.column_name, '_', ' ')) AS said
    FROM change.cell AS c LEFT JOIN change.compared AS s ON c.is_figure AND s.name = c.table_name AND s.column_name = c.column_name
    ORDER BY is_figure DESC, c.table_name, vessel_name, imo_number, unit_id, duty, item, month_end, c.column_name, then_value, now_value, why"""
TITLES_SQL = "SELECT name, any_value(title) AS title FROM change.compared GROUP BY name ORDER BY min(rowid)"
NO_HISTORY = (
    "The store keeps the dialects, and the company's own rule files, only as they were when their folder was last given: both moments are "
    "read and judged by today's. An earlier moment leaves out files received later, withdrawals and corrections, not rules."
)


def make_page(con: duckdb.DuckDBPyConnection, context: Context) -> Page:
    """The page, from the database of what changed."""
    asked = select_rows(con, ASKED_SQL)[0]
    cells = select_rows(con, CELLS_SQL)
    overdue = select_rows(con, OVERDUE_SQL, scope=asked.vessel or "*")
    reasons = select_rows(con, REASONS_SQL)
    vessel = context.name_vessel(asked.vessel) if asked.vessel else ""
    answer = changes_words.write_answer(asked, vessel, overdue[0] if overdue else None, select_rows(con, WAYS_SQL), cells)
    if not cells:
        sections: tuple[Section, ...] = (tell_given(con, asked), _tell_limits(asked))
    else:
        sections = (
            Section("overdue", "Overdue on the day", (_list_reasons(reasons, context),), is_wide=True),
            tell_given(con, asked),
            *_tell_figures(con, cells),
            *_tell_records(cells),
            _tell_limits(asked),
        )
    return Page(
        "changes.html", "What changed", "What was told then, what now, and by which file?", answer, sections, is_alone=True
    )


def _list_reasons(reasons: list[Any], context: Context) -> Table:
    rows = [
        (
            r.unit_id,
            context.name_vessel(r.imo_number),
            "overdue" if r.sign < 0 else "not overdue",
            "not overdue" if r.sign < 0 else "overdue",
            changes_words.say_records(r),
            changes_words.say_how(r.how or ""),
        )
        for r in reasons
    ]
    columns = "unit=Unit:unit; vessel=Vessel; then=Then; now=Now; records=Records:long; how=Why:long"
    caption = "Units overdue on the day at one of the two moments only, or not counted at the other"
    return make_table(
        "reasons",
        caption,
        columns,
        rows,
        "The same units are overdue on the day at both moments.",
        "the count's row names all units in",
    )


def _tell_figures(con: duckdb.DuckDBPyConnection, cells: list[Any]) -> list[Section]:
    """A section for each table of figures, as changes.toml orders them."""
    sections = []
    for table in select_rows(con, TITLES_SQL):
        rows = [c for c in cells if c.is_figure and c.table_name == table.name]
        # The fleet before its vessels, the newest month first: that is what was told.
        rows.sort(key=lambda c: (c.imo_number != "*", -c.month_end.toordinal() if c.month_end else 0))
        columns = "vessel=Vessel; what=What:long; column=Column; then=Then; now=Now; why=Why:long"
        listed = [
            (
                c.vessel_name or c.imo_number,
                changes_words.say_what(c),
                c.said,
                c.then_value,
                c.now_value,
                changes_words.say_how(c.why),
            )
            for c in rows
        ]
        caption = f"{words.say_capital(table.title)}: cells that differ"
        sections.append(
            Section(
                table.name.replace("_", "-"),
                words.say_capital(table.title),
                (make_table(table.name, caption, columns, listed),),
                is_wide=True,
            )
        )
    return sections


def _tell_records(cells: list[Any]) -> list[Section]:
    rows = [
        (
            c.table_name.replace("_", " "),
            c.item,
            c.said,
            c.then_value,
            c.now_value,
            changes_words.say_how(c.why),
            (c.now_path or c.then_path, c.now_line_no or c.then_line_no),
        )
        for c in cells
        if not c.is_figure
    ]
    columns = "table=Table; record=Record:long; column=Column; then=Then; now=Now; why=Why:long; place=Place:file_line"
    caption = "Records newly loaded, replaced, gone or set aside, by their keys"
    note = Note(
        "Every difference, with the record behind the old and the new value:", links=(Link("changes.csv", "changes.csv"),)
    )
    return [Section("records", "Records", (make_table("records", caption, columns, rows), note), is_wide=True)]


def _tell_limits(asked: Any) -> Section:
    own = " These folders have rule files of their own." if asked.has_own_rules else ""
    note = Note(NO_HISTORY + own, "caution" if asked.has_own_rules else "plain")
    return Section("limits", "What this can't show", (note,))


def say_plainly(page: Page) -> str:
    """The answer without markup, for a terminal."""
    return Markup(page.answer).striptags()
