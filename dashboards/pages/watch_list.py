"""Watch list: which units to condemn or replace early?

In: figure.watch_list, watch_reason, watch_model, watch_weight, back_test, back_test_group. Out: watch-list.html. Hard reasons stand first;
what follows is an order in which to look, with its reasons, their records, and how well such lists did before.
"""

from __future__ import annotations

import duckdb
from markupsafe import Markup

from dashboards import words
from dashboards.blocks import Context, Link, Note, Page, Section
from dashboards.database import select_rows
from dashboards.pages import watch_costs, watch_tables, watch_tests, watch_words
from dashboards.pages.watch_words import Row

LIST_SQL = "SELECT * FROM figure.watch_list ORDER BY list_rank"
REASONS_SQL = """
    SELECT l.list_rank, r.*, f.path FROM figure.watch_reason AS r JOIN figure.watch_list AS l USING (unit_id)
    LEFT JOIN intake.file AS f USING (file_id)
    ORDER BY l.list_rank, r.reason_no, r.seen_on DESC NULLS LAST, f.path, r.line_no"""
TESTS_SQL = "SELECT * FROM figure.back_test ORDER BY cutoff NULLS LAST, list_position(['model', 'rule', 'oldest_first', 'hard_rules', 'base_rate'], method)"
GROUPS_SQL = "SELECT * FROM figure.back_test_group ORDER BY grouped_by, group_no"
MODEL_SQL = "SELECT * FROM figure.watch_model"
WEIGHTS_SQL = "SELECT * FROM figure.watch_weight ORDER BY odds DESC, trait"


def write_answer(rows: list[Row], tests: list[Row], model: Row, context: Context) -> str:
    """How many have a hard reason, how the rest is ordered, and how such lists did."""
    day = words.say_date(context.as_of)
    if not rows:
        return Markup("On {} no unit is in service, so there is nothing to list.{}").format(day, context.empty_why)
    hard = sum(row.hard_reason is not None for row in rows)
    return Markup("On {} <strong>{}</strong> {} a hard reason to be condemned and {} first. {} {}").format(
        day,
        Markup("{} {}").format(context.say_count(hard, "hard"), "unit" if hard == 1 else "units") if hard else "no units",
        words.say_verb(hard, "has", "have"),
        words.say_verb(hard, "stands", "stand"),
        watch_words.say_kind(model.kind),
        watch_words.say_record(tests, model.kind),
    )


def list_sections(
    rows: list[Row], reasons: list[Row], tests: list[Row], model: Row, context: Context, con: duckdb.DuckDBPyConnection
) -> tuple[Section, ...]:
    """The list, its records, what waiting costs, how such lists did, what it rests on."""
    groups, weights = select_rows(con, GROUPS_SQL), select_rows(con, WEIGHTS_SQL)
    costs, prices = select_rows(con, watch_costs.COSTS_SQL), select_rows(con, watch_costs.PRICES_SQL)
    cited = "The chance of a list’s first units is a pattern in these records, not a cause, and no word on any one unit."
    links = (Link("Hard reasons by rule", "fitness.html#condemn"), Link("How the list is made", "method.html#watch"))
    return (
        Section(
            "list",
            "The list",
            (
                Note(watch_words.CAUTION),
                Note(watch_words.say_why(model), links=links),
                watch_tables.list_units(rows, context),
            ),
            f"{watch_words.REMARKS[model.kind]} {cited if model.kind != 'rule' else ''}",
            is_wide=True,
        ),
        Section(
            "records",
            "The records behind each reason",
            (watch_tables.list_reasons(reasons, context),),
            "A unit’s reasons in the order of the list, each with every record that it rests on. Times the odds: against the average unit of today’s fleet, all else alike.",
            is_wide=True,
        ),
        Section(
            "cost",
            "What waiting costs",
            (watch_costs.tell_costs(costs, prices), watch_costs.list_costs(costs, context)),
            watch_costs.REMARK,
            is_wide=True,
        ),
        Section(
            "track",
            "How well such lists did",
            (watch_tests.chart_tops(tests), watch_tests.list_tests(tests, context)),
            watch_tests.REMARK,
            is_wide=True,
        ),
        Section("real", "Is it real?", (watch_words.tell_gain(tests, model.kind), *watch_words.tell_scores(tests, model)),
                "Half-years look twelve months ahead and overlap, so they are not independent; the limits draw whole vessels anew, and whole units where vessels are few."),
        Section(
            "model",
            "What the list rests on",
            (watch_words.tell_check(model), watch_tests.chart_calibration(groups, context), watch_tests.list_bands(groups, context), watch_tables.list_weights(weights)),
            watch_words.say_base(model),
        ),
    )  # fmt: skip


def make_page(con: duckdb.DuckDBPyConnection, context: Context) -> Page:
    """The page."""
    rows, reasons, tests = (select_rows(con, sql) for sql in (LIST_SQL, REASONS_SQL, TESTS_SQL))
    model = select_rows(con, MODEL_SQL)[0]
    return Page(
        "watch-list.html",
        "Watch list",
        "Which units to condemn or replace early?",
        write_answer(rows, tests, model, context),
        list_sections(rows, reasons, tests, model, context, con),
        is_caution_on_top=True,
    )
