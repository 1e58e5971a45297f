"""Overdue: who is late, for how long, is it getting worse?

In: figure.overdue_monthly, overdue_now, duty_now. Out: overdue.html. Counts on a day are a census and carry no interval.
"""

from __future__ import annotations

import duckdb
from markupsafe import Markup

from dashboards import charts, standing, words
from dashboards.blocks import Chart, Context, Page, Section, Table, name_columns
from dashboards.pages import due_items, overdue_data, overdue_trends

MOST_ITEMS = 150


def write_answer(data: overdue_data.OverdueData, context: Context) -> str:
    """Who, how long, and whether it grows, in one sentence."""
    total = standing.compare_months(data.months.get(("*", "*"), []), context.as_of)
    if total is None:
        return f"On {words.say_date(context.as_of)} no unit is in service, so none can be overdue."
    whole = next((r for r in data.spread if r.duty == "*"), None)
    long = (
        (
            f"half of what is overdue has been so for {words.say_count(round(whole.median_days), 'day')} or more, "
            f"and the longest for {words.say_number(whole.most_days)}"
        )
        if whole
        else "nothing is overdue on any duty"
    )
    before = (
        f", against {words.say_percent(100 * total.year_before.days_rate)} in {words.say_month(total.year_before.month_end)}"
        if total.year_before
        else ""
    )
    return Markup(
        "On {} <strong>{} of {} units</strong> were overdue, and {}. In {} the fleet was overdue on "
        "<strong>{}</strong> of its unit-days{}."
    ).format(
        words.say_date(context.as_of),
        words.say_number(total.now.overdue),
        words.say_number(total.now.units),
        long,
        words.say_month(context.as_of),
        words.say_percent(100 * total.now.days_rate),
        before,
    )


def chart_ages(data: overdue_data.OverdueData) -> Chart:
    """For how long items have been overdue."""
    total = sum(data.ages)
    table = Table(
        "ages",
        "Items overdue (a unit and a duty), by days past the due date",
        name_columns("overdue_for=Overdue for; items=Items:count"),
        tuple(zip(overdue_data.BANDS, data.ages, strict=True)) if total else (),
        empty="Nothing is overdue on this date, so there is no lateness to measure.",
    )
    old = sum(data.ages[2:])
    title = f"{words.say_capital(words.say_count(old, 'item'))} of {words.say_number(total)} overdue for more than 30 days"
    texts = [f"{words.say_number(n)} ({words.say_percent(100 * n / total, 0)})" if total else "" for n in data.ages]
    return Chart(
        "ages",
        title,
        "An item is one unit (or sample group) and one duty, so a unit late on two duties stands here twice.",
        charts.draw_bars(overdue_data.BANDS, data.ages, "items overdue", texts, [i >= 2 for i in range(len(overdue_data.BANDS))]),
        table,
    )


def list_spread(data: overdue_data.OverdueData) -> Table:
    """Median, 90th percentile and longest, by duty."""
    columns = name_columns(
        "duty=Duty; items=Items overdue:count; median_days=Median days:count; p90_days=90th percentile:count; "
        "most_days=Longest:count"
    )
    rows = tuple(
        (
            "All duties" if r.duty == "*" else words.say_capital(words.say_duty(r.duty)),
            r.items,
            round(r.median_days),
            round(r.p90_days),
            r.most_days,
        )
        for r in data.spread
    )
    return Table("lateness", "Days overdue so far, items still open", columns, rows, empty="Nothing is overdue on this date.")


def chart_load(data: overdue_data.OverdueData, context: Context) -> Chart:
    """What falls due in the coming year, by calendar month."""
    rows = tuple((words.say_month(r.month), r.due) for r in data.load)
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
        f"{words.say_number(total)} fall due from {words.say_date(context.as_of)} on within 365 days; the "
        "first and last month are cut by that. The monthly onboard checks are left out, and so is what is "
        "already overdue."
    )
    return Chart(
        "load",
        title,
        said,
        charts.draw_columns([r[0] for r in rows], [r.month for r in data.load], [r[1] for r in rows], "services and tests due"),
        table,
    )


def list_all(data: overdue_data.OverdueData, context: Context) -> Table:
    """Every overdue item, longest first."""
    rows = tuple(due_items.write_row(item, context, True) for item in data.items)
    caption = f"{words.say_capital(words.say_count(len(rows), 'item'))} overdue, longest first"
    return Table(
        "items", caption, due_items.list_columns(True, True), rows, empty="Nothing is overdue on this date.", shown=MOST_ITEMS
    )


def make_page(con: duckdb.DuckDBPyConnection, context: Context) -> Page:
    """The page."""
    data = overdue_data.read_overdue(con, context)
    sections = (
        Section(
            "trend",
            "Is it getting worse?",
            (overdue_trends.chart_trend(data), overdue_trends.chart_duties(data), overdue_trends.chart_stock(data)),
            "Unit-days look at every day of the month; month ends are single days. The last month runs to the date of this page.",
        ),
        Section("who", "Who is late?", (overdue_trends.chart_vessels(data, context),)),
        Section(
            "how-long",
            "For how long?",
            (chart_ages(data), list_spread(data)),
            "Counted from the day after the due date. What has been closed since is not in it.",
        ),
        Section("ahead", "What comes next?", (chart_load(data, context),)),
        Section("items", "Every overdue item", (list_all(data, context),), is_wide=True),
    )
    return Page(
        "overdue.html", "Overdue", "Who is late, for how long, is it getting worse?", write_answer(data, context), sections
    )
