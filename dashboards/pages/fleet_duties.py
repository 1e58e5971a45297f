"""What is overdue and what falls due, by duty, for the Fleet page.

In: comparisons of figure.overdue_monthly, counts of figure.duty_now. Out: a chart and tables.
"""

from __future__ import annotations

from dashboards import charts, words
from dashboards.blocks import Chart, Context, Table, name_columns
from dashboards.pages import fleet_data
from dashboards.rule_book import RuleBook
from dashboards.standing import to_pct


def say_groups(data: fleet_data.FleetData, book: RuleBook) -> str:
    """Which of these duties count groups of like units."""
    names = [book.name_duty(c.duty) for c in data.duties if book.is_group(c.duty)]
    return (
        f"; {words.say_list(names)} {words.say_verb(len(names), 'counts', 'count')} groups of like units, not units"
        if names
        else ""
    )


def say_rounds(book: RuleBook) -> str:
    """A duty that comes round within 90 days holds nearly every unit."""
    names = [f"{book.name_duty(duty)} comes round {book.say_interval(duty)}" for duty in book.rounds]
    return f"The {words.say_list(names)}, so nearly every unit stands in it." if names else ""


def name_list(which: str, duty: str) -> str:
    """The list behind a number of one duty."""
    return f"{which}-{'any' if duty == '*' else duty}"


def list_duties(data: fleet_data.FleetData, context: Context) -> Table:
    """One row for each duty: now, and against the month and the year before."""
    book = context.book
    first = data.duties[0] if data.duties else None
    before = (
        f"Change on {words.say_date(first.month_before.month_end)}" if first and first.month_before else "Change on the month"
    )
    year = f"Change on {words.say_date(first.year_before.month_end)}" if first and first.year_before else "Change on the year"
    month = words.say_month_to(first.now.month_end) if first else "this month"
    columns = name_columns(
        "duty=Duty; counted=Counted:count; overdue_units=Overdue now:count; overdue_pct=Share of known:percent; "
        f"unknown_units=Unknown:count; change_on_month={before}:change; change_on_year={year}:change; "
        f"unit_days_overdue_pct=Unit-days overdue, {month}:percent; month_before_pct=The month before:percent; "
        "year_before_pct=A year before:percent"
    )  # fmt: skip
    rows = tuple(
        (
            words.say_capital(book.name_duty(c.duty)),
            context.count(c.now.units, name_list("duty", c.duty)),
            context.count(c.now.overdue, name_list("overdue", c.duty)),
            to_pct(c.now.rate),
            context.count(c.now.unknown, name_list("unknown", c.duty)),
            c.change_on_month,
            c.change_on_year,
            to_pct(c.now.days_rate),
            to_pct(c.month_before.days_rate) if c.month_before else None,
            to_pct(c.year_before.days_rate) if c.year_before else None,
        )
        for c in data.duties
    )
    return Table(
        "duties",
        f"Overdue by duty{say_groups(data, book)}. Share: of those whose due date is known",
        columns,
        rows,
        empty="No duty counts for any unit: load a register of units (unit.csv) with vessels that are in the fleet.",
    )


def chart_duties(data: fleet_data.FleetData, context: Context) -> Chart:
    """Bars of what is overdue now."""
    book, table, single = context.book, list_duties(data, context), [c for c in data.duties if c.duty != "*"]
    worst = max(single, key=lambda c: c.now.overdue, default=None)
    if worst is None or worst.now.overdue == 0:
        title = "Nothing is overdue on this day"
    else:
        title = (
            f"{words.say_capital(book.name_duty(worst.duty))} is behind most often: "
            f"{book.say_subjects(worst.duty, worst.now.overdue)} overdue"
        )
    summary = "; ".join(
        f"{book.name_duty(c.duty)} {words.say_number(c.now.overdue)} of {words.say_number(c.now.units)}" for c in data.duties
    )
    figure = charts.draw_bars(
        [row[0] for row in table.rows],
        [c.now.overdue for c in data.duties],
        "overdue now",
        [f"{words.say_number(c.now.overdue)} of {words.say_number(c.now.units)}" for c in data.duties],
        [c is worst for c in data.duties],
    )
    return Chart("duties", title, f"Overdue now: {summary}." if data.duties else "", figure, table, is_table_open=True)


def list_ahead(data: fleet_data.FleetData, context: Context) -> Table:
    """What next falls due, from the day on."""
    rows = tuple(
        (
            words.say_capital(context.book.name_duty(duty)),
            *(context.count(n, f"due-{days}-{duty}") for n, days in zip(counts, (30, 60, 90), strict=True)),
        )
        for duty, counts in data.ahead.items()
    )
    columns = name_columns("duty=Duty; in_30_days=Within 30 days:count; in_60_days=60 days:count; in_90_days=90 days:count")
    return Table(
        "ahead",
        f"The next due date of each unit and duty, from {words.say_date(context.as_of)} on; each column includes the one before",
        columns,
        rows,
        empty="The rule book holds no duty.",
    )
