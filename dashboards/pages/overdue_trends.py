"""The Overdue page's charts over time.

In: `OverdueData`. Out: charts of the fleet, of each duty, of month ends, and of the vessels with most of it.
"""

from __future__ import annotations

from datetime import date

from dashboards import charts, standing, time_charts, words
from dashboards.blocks import Chart, Column, Context, Table, name_columns
from dashboards.pages import overdue_data
from dashboards.standing import to_pct

MOST_MONTHS = 60
MOST_PANELS = 12


def chart_trend(data: overdue_data.OverdueData) -> Chart:
    """Share of unit-days overdue on any of the three duties, month by month."""
    mine = data.months.get(("*", "*"), [])[-MOST_MONTHS:]
    rows = tuple((r.month_end, to_pct(r.days_rate), r.overdue_unit_days, r.unit_days) for r in mine)
    columns = name_columns(
        "month_end=Month up to:date; unit_days_overdue_pct=Unit-days overdue:percent; "
        "overdue_unit_days=Unit-days overdue:count; unit_days=Unit-days in service:count"
    )  # fmt: skip
    table = Table(
        "trend", "Share of unit-days overdue on any of the three duties, whole fleet", columns, rows, empty=overdue_data.NO_MONTH
    )
    if len(rows) < 2:
        title, said = (
            "One month of records: too short to show a course",
            "A second month is needed before anything can be compared.",
        )
    else:
        before, high = rows[-13 if len(rows) > 12 else 0], max(rows, key=lambda r: (r[1], r[0]))
        title = (
            f"{words.say_percent(rows[-1][1])} of unit-days were overdue in {words.say_month(rows[-1][0])}, "
            f"{words.say_percent(before[1])} in {words.say_month(before[0])}"
        )
        said = (
            f"Over these {len(rows)} months the share was highest in {words.say_month(high[0])}, at {words.say_percent(high[1])}."
        )
    series = [charts.Series("any duty", tuple(r[0] for r in rows), tuple(r[1] for r in rows))]
    return Chart("trend", title, said, time_charts.draw_lines(series, "unit-days overdue, %", " %"), table)


def chart_duties(data: overdue_data.OverdueData) -> Chart:
    """The same for each duty, on one scale."""
    months = {duty: data.months["*", duty][-24:] for imo, duty in data.months if imo == "*" and duty != "*"}
    duties = sorted(months, key=standing.order_duty)
    ends = tuple(sorted({r.month_end for duty in duties for r in months[duty]})[-24:])
    by_end = {duty: {r.month_end: to_pct(r.days_rate) for r in months[duty]} for duty in duties}
    series = [charts.Series(words.say_capital(words.say_duty(d)), ends, tuple(by_end[d].get(e) for e in ends)) for d in duties]
    columns = (
        Column("month_end", "Month up to", "date"),
        *(Column(f"{d}_pct", words.say_capital(words.say_duty(d)), "percent") for d in duties),
    )
    table = Table("by-duty", "Share of unit-days overdue, by duty; of group-days for sample discharge tests", columns,
                  tuple((e, *(by_end[d].get(e) for d in duties)) for e in ends), empty=overdue_data.NO_MONTH)  # fmt: skip
    last = {d: by_end[d].get(ends[-1]) for d in duties} if ends else {}
    said = [f"{words.say_duty(d)} {words.say_percent(v)}" for d, v in last.items() if v is not None]
    title = f"{words.say_month(ends[-1])}: {words.say_list(said)}" if ends else ""
    return Chart(
        "by-duty",
        title,
        ("One panel for each duty, all on one scale, up to 24 months. A unit late on two duties stands in both panels."),
        time_charts.draw_panels(series, True, " %", 5.0),
        table,
    )


def chart_stock(data: overdue_data.OverdueData) -> Chart:
    """Units overdue on each month end: the census."""
    mine = data.months.get(("*", "*"), [])
    columns = name_columns(
        "month_end=On:date; overdue_units=Units overdue:count; units=Units in service:count; unknown_units=Unknown:count"
    )
    rows = tuple((r.month_end, r.overdue, r.units, r.unknown) for r in mine)[-24:]
    table = Table(
        "month-ends",
        "Units overdue for any of the three duties on each month end",
        columns,
        rows,
        empty="No month end with a unit in service yet.",
    )
    title = (
        f"{standing.say_counted('*', rows[-1][1])} overdue on {words.say_date(rows[-1][0])}, {words.say_number(rows[0][1])} on {words.say_date(rows[0][0])}"
        if len(rows) > 1
        else "The one day counted so far"
    )
    said = (
        (
            f"Counts on {words.say_count(len(rows), 'month end')}; the last bar is {words.say_date(rows[-1][0])}. "
            "They are facts of those days, not estimates."
        )
        if rows
        else ""
    )
    return Chart(
        "month-ends",
        title,
        said,
        charts.draw_columns([r[0].isoformat() for r in rows], [r[0] for r in rows], [r[1] for r in rows], "units overdue"),
        table,
    )


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
        "Share of unit-days overdue on any of the three duties",
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
