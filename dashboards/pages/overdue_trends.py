"""The Overdue page's charts over time.

In: `OverdueData`. Out: charts of the fleet, of each duty, of month ends, and of the vessels with most of it.
"""

from __future__ import annotations

from datetime import date

from dashboards import charts, standing, time_charts, words
from dashboards.blocks import Chart, Column, Context, Table, name_columns
from dashboards.pages import list_past, overdue_data
from dashboards.standing import to_pct

MOST_MONTHS = 60
MOST_PANELS = 12


def make_charts(data: overdue_data.OverdueData, context: Context) -> tuple[Chart, ...]:
    """The three charts that tell whether it gets worse."""
    return chart_trend(data, context), chart_duties(data, context), chart_stock(data, context)


def chart_trend(data: overdue_data.OverdueData, context: Context) -> Chart:
    """Share of unit-days overdue on any of the duties that count, month by month."""
    every, any_duty = data.months.get(("*", "*"), []), context.book.name_any()
    rows = tuple((r.month_end, to_pct(r.days_rate), r.overdue_unit_days, r.unit_days) for r in every[-MOST_MONTHS:])
    columns = name_columns(
        "month_end=Month up to:date; unit_days_overdue_pct=Unit-days overdue:percent; "
        "overdue_unit_days=Unit-days overdue:count; unit_days=Unit-days in service:count"
    )  # fmt: skip
    caption = f"Share of unit-days overdue on {any_duty}, whole fleet"
    table = Table("trend", caption, columns, rows, empty=overdue_data.NO_MONTH)
    if len(rows) < 2:
        title = "One month of records: too short to show a course"
        said = "A second month is needed before anything can be compared."
    else:
        high = max(rows, key=lambda r: (r[1], r[0]))
        title = standing.say_years(standing.compare_years(every))
        said = (
            f"In {words.say_month_to(rows[-1][0])} it was {words.say_percent(rows[-1][1])}. Over these {len(rows)} months the "
            f"share was highest in {words.say_month_to(high[0])}, at {words.say_percent(high[1])}."
        )
    series = [charts.Series("any duty", tuple(r[0] for r in rows), tuple(r[1] for r in rows))]
    return Chart("trend", title, said, time_charts.draw_lines(series, "unit-days overdue, %", " %"), table)


def chart_duties(data: overdue_data.OverdueData, context: Context) -> Chart:
    """The same for each duty, on one scale."""
    months = {duty: data.months["*", duty][-24:] for imo, duty in data.months if imo == "*" and duty != "*"}
    duties = sorted(months, key=context.book.order_duty)
    names = {duty: words.say_capital(context.book.name_duty(duty)) for duty in duties}
    ends = tuple(sorted({r.month_end for duty in duties for r in months[duty]})[-24:])
    by_end = {duty: {r.month_end: to_pct(r.days_rate) for r in months[duty]} for duty in duties}
    series = [charts.Series(names[d], ends, tuple(by_end[d].get(e) for e in ends)) for d in duties]
    columns = (Column("month_end", "Month up to", "date"), *(Column(f"{d}_pct", names[d], "percent") for d in duties))
    groups = words.say_list([context.book.name_duty(d) for d in duties if context.book.is_group(d)])
    caption = "Share of unit-days overdue, by duty" + (f"; of group-days for {groups}" if groups else "")
    rows = tuple((e, *(by_end[d].get(e) for d in duties)) for e in ends)
    pairs = standing.list_year_pairs(data.months, "*", context.book)
    moved = standing.say_moves(pairs, context.book)
    title = f"12 months against the 12 before: {moved}" if pairs else "Unit-days overdue, duty by duty"
    said = "One panel for each duty, all on one scale, up to 24 months. A unit late on two duties stands in both panels."
    table = Table("by-duty", caption, columns, rows, empty=overdue_data.NO_MONTH)
    return Chart("by-duty", title, said, time_charts.draw_panels(series, True, " %", 5.0), table)


def title_stock(data: overdue_data.OverdueData, context: Context) -> str:
    """The day against the same month a year before, never against whichever bar stands first."""
    total = standing.compare_months(data.months.get(("*", "*"), []), context.as_of)
    if total is None:
        return "No unit in service on this day"
    now = f"{words.say_capital(words.say_count(total.now.overdue, 'unit'))} overdue on {words.say_date(total.now.month_end)}"
    before = total.year_before
    return now + (f", {words.say_number(before.overdue)} on {words.say_date(before.month_end)}" if before else "")


def chart_stock(data: overdue_data.OverdueData, context: Context) -> Chart:
    """Units overdue on each month end: the census."""
    columns = name_columns(
        "month_end=On:date; overdue_units=Units overdue:count; units=Units in service:count; unknown_units=Unknown:count"
    )
    mine = data.months.get(("*", "*"), [])[-list_past.MONTHS :]
    rows = tuple((r.month_end, context.count(r.overdue, list_past.name_past(r.month_end)), r.units, r.unknown) for r in mine)
    caption = f"Units overdue for {context.book.name_any()} on each month end"
    table = Table("month-ends", caption, columns, rows, empty="No month end with a unit in service yet.")
    said = ""
    if rows:
        said = (
            f"Counts on {words.say_count(len(rows), 'day')}, the month ends and at last {words.say_date(rows[-1][0])}. "
            "They are facts of those days, not estimates."
        )
    bars = charts.draw_columns([r[0].isoformat() for r in rows], [r[0] for r in rows], [r.overdue for r in mine], "units overdue")
    return Chart("month-ends", title_stock(data, context), said, bars, table)


def chart_vessels(data: overdue_data.OverdueData, context: Context) -> Chart:
    """Small multiples of the vessels with most unit-days overdue in the last 12 months."""
    mine = {imo: rows[-12:] for (imo, duty), rows in data.months.items() if duty == "*" and imo in context.by_imo}
    late_days = {imo: sum(r.overdue_unit_days for r in rows) for imo, rows in mine.items()}
    picked = sorted(mine, key=lambda imo: (-late_days[imo], context.name_vessel(imo), imo))[:MOST_PANELS]
    ends: list[date] = sorted({r.month_end for imo in picked for r in mine[imo]})[-12:]
    by_end = {imo: {r.month_end: to_pct(r.days_rate) for r in mine[imo]} for imo in picked}
    series = [charts.Series(context.name_vessel(imo), tuple(ends), tuple(by_end[imo].get(e) for e in ends)) for imo in picked]
    columns = (
        Column("month_end", "Month up to", "date"),
        *(Column(f"imo_{imo}_pct", context.name_vessel(imo), "percent") for imo in picked),
    )
    table = Table(
        "vessels",
        f"Share of unit-days overdue on {context.book.name_any()}",
        columns,
        tuple((e, *(by_end[i].get(e) for i in picked)) for e in ends),
        empty="No vessel has a unit in service in these months.",
    )
    total, part = sum(late_days.values()), sum(late_days[i] for i in picked[:3])
    title = (
        f"Three of {len(mine)} vessels carry {words.say_percent(100 * part / total, 0)} of the unit-days overdue of 12 months"
        if len(mine) > 3 and total
        else "Unit-days overdue, vessel by vessel"
    )
    said = (
        "All vessels" if len(mine) <= MOST_PANELS else f"The {MOST_PANELS} vessels with most unit-days overdue"
    ) + ", most first, on one scale. Late visits come in batches, so a peak can be one missed call rather than a habit."
    return Chart("vessels", title, said, time_charts.draw_panels(series, True, " %", 5.0), table)
