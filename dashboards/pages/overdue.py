"""Overdue: who is late, for how long, is it getting worse?

In: figure.overdue_monthly, overdue_now, duty_now, on_time_year, on_time_chart, overdue_duration. Out: overdue.html. Counts on a day are a
census and carry no interval; shares done in time speak of how work is done, and do.
"""

from __future__ import annotations

import duckdb

from dashboards import charts, due_calendar, words
from dashboards.blocks import FLEET, Chart, Context, Page, Section, Table, name_columns
from dashboards.pages import choices, due_rows, due_words, on_time, on_time_tables, overdue_data, overdue_trends, overdue_words

MOST_ITEMS, MOST_UNKNOWN = 80, 40


def chart_ages(data: overdue_data.OverdueData, context: Context) -> Chart:
    """For how long items have been overdue."""
    total = sum(data.ages)
    table = Table(
        "ages",
        "Items overdue (a unit and a duty), by days past the due date",
        name_columns("overdue_for=Overdue for; items=Items:count"),
        tuple(
            (band, context.count(n, f"overdue-band-{i}"))
            for i, (band, n) in enumerate(zip(overdue_data.BANDS, data.ages, strict=True))
        )
        if total
        else (),
        empty="Nothing is overdue on this date, so there is no lateness to measure.",
    )
    old = sum(data.ages[2:])
    title = f"{words.say_capital(words.say_number(old) if old else 'none')} of {words.say_count(total, 'item')} overdue for more than 30 days"
    texts = [f"{words.say_number(n)} ({words.say_percent(100 * n / total, 0)})" if total else "" for n in data.ages]
    return Chart(
        "ages",
        title,
        "An item is one unit (or sample group) and one duty, so a unit late on two duties stands here twice.",
        charts.draw_bars(overdue_data.BANDS, data.ages, "items overdue", texts, [i >= 2 for i in range(len(overdue_data.BANDS))]),
        table,
    )


def list_spread(data: overdue_data.OverdueData, context: Context) -> Table:
    """Median, 90th percentile and longest, by duty."""
    columns = name_columns(
        "duty=Duty; items=Items overdue:count; median_days=Median days:count; p90_days=90th percentile:count; "
        "most_days=Longest:count"
    )
    rows = tuple(
        (
            "All duties" if r.duty == "*" else words.say_capital(context.book.name_duty(r.duty)),
            context.count(r.items, "overdue-items" if r.duty == "*" else f"overdue-{r.duty}"),
            words.round_whole(r.median_days),
            words.round_whole(r.p90_days),
            r.most_days,
        )
        for r in data.spread
    )
    return Table("lateness", "Days overdue so far, items still open", columns, rows, empty="Nothing is overdue on this date.")


def chart_load(data: overdue_data.OverdueData, context: Context) -> Chart:
    """What falls due in the coming year, by calendar month."""
    rows = tuple((words.say_month(r.month), context.count(r.due, f"due-in-{r.month:%Y-%m}")) for r in data.load)
    total, top = sum(r.due for r in data.load), max(data.load, key=lambda r: r.due)
    table = Table(
        "load",
        "Next due dates of services and tests, by calendar month",
        name_columns("month=Month; due=Falling due:count"),
        rows if total else (),
        empty="No service or test falls due within 365 days of this date.",
    )
    title = f"The heaviest month ahead is {words.say_month(top.month)}: {words.say_number(top.due)} services and tests"
    said = (
        f"{words.say_capital(words.say_number(total))} fall due from {words.say_date(context.as_of)} on within 365 days; the "
        f"first and last month are cut by that. Left out: {context.book.name_rounds() or 'nothing'}, and what is already overdue."
    )
    return Chart(
        "load",
        title,
        said,
        charts.draw_columns(
            [r[0] for r in rows], [r.month for r in data.load], [r.due for r in data.load], "services and tests due"
        ),
        table,
    )


def list_all(data: overdue_data.OverdueData, context: Context) -> Table:
    """Every overdue item, longest first."""
    rows = tuple(due_rows.write_row(item, context, True, True) for item in data.items)
    caption = f"{words.say_capital(words.say_count(len(rows), 'item'))} overdue, longest first"
    return Table(
        "items", caption, due_rows.list_columns(True, True), rows, empty="Nothing is overdue on this date.", shown=MOST_ITEMS
    )


def list_unknown(data: overdue_data.OverdueData, context: Context) -> Table:
    """Every item whose due date can't be told."""
    rows = tuple(due_rows.write_row(item, context, True, False) for item in data.unknown)
    caption = (
        f"{words.say_capital(words.say_count(len(rows), 'item'))} without a due date, because there is nothing to count from"
    )
    return Table(
        "unknown", caption, due_rows.list_columns(True, False), rows, empty="Every due date is known.", shown=MOST_UNKNOWN
    )


def make_page(con: duckdb.DuckDBPyConnection, context: Context) -> Page:
    """The page."""
    data = overdue_data.read_overdue(con, context)
    sections = (
        Section(
            "trend",
            "Is it getting worse?",
            overdue_trends.make_charts(data, context),
            "Unit-days look at every day of the month; month ends are single days. The last month runs to the date of this page. "
            "figure.count_interval in the database tells which units were in service on a past day.",
        ),
        Section(
            "real",
            "Is it real?",
            (
                on_time.tell_real(data.on_time, context),
                on_time.chart_flow(data.on_time, context),
                on_time_tables.list_years(data.on_time, context),
            ),
            "What fell due and was done by its due date. One late visit makes all that was due at it late, so the intervals take the "
            "services of a vessel’s call as one, whatever month they fall due in.",
        ),
        Section(
            "who", "Who is late?", (overdue_trends.chart_vessels(data, context), on_time.chart_funnel(data.on_time, context))
        ),
        *choices.list_section(con, context, "overdue"),
        Section(
            "how-long",
            "For how long?",
            (chart_ages(data, context), list_spread(data, context), *on_time_tables.list_durations(data.on_time, context)),
            "What is open now, counted from the day after the due date; then all that ever became overdue.",
        ),
        Section("ahead", "What comes next?", (chart_load(data, context), *due_calendar.tell_calendar(FLEET, context))),
        Section(
            "items",
            "Every overdue item",
            (list_all(data, context), list_unknown(data, context)),
            due_words.say_grounds(data.items, context) if data.items else "",
            is_wide=True,
        ),
    )
    return Page(
        "overdue.html",
        "Overdue",
        "Who is late, for how long, is it getting worse?",
        overdue_words.write_answer(data, context),
        sections,
    )
