"""The Overdue page's view of the flow: what fell due, was it done in time, and is a change or a vessel more than chance?

In: `OnTime`. Out: charts. Unlike a count on a day these have intervals: they speak of how work is done.
"""

from __future__ import annotations

from statistics import median
from typing import Any

from dashboards import limit_charts, words
from dashboards.blocks import Chart, Context, Note, Table, name_columns
from dashboards.charts import Series
from dashboards.pages.on_time_data import OnTime, say_outside, say_real
from dashboards.standing import to_pct

MOST_MONTHS = 36
RUNS = " Where a vessel’s good and bad months come in runs, chance gives such signs more often than these limits say: the Method page has the numbers."

MOST_VESSELS = 60  # rows; where there are more, those outside the limits come first


def tell_real(data: OnTime, context: Context) -> Note:
    """The verdict on the year, in words."""
    return Note(f"{say_real(data)} {say_outside(data, context)}{RUNS if data.now else ''}")


def title_flow(months: list[Any]) -> str:
    """What the chart finds, over the months that it shows."""
    if months[-1].centre is None:
        return "Done in time, month by month: too few months for limits"
    out = [row for row in months if row.is_outside]
    if not out:
        moved = months[-1].is_run_signal or months[-1].is_drifting
        what = "but the course has moved from the baseline" if moved else "what varies is what varied in the baseline"
        return f"None of {len(months)} months lies outside the limits{',' if moved else ':'} {what}"
    return f"{words.say_capital(words.say_count(len(out), 'month'))} of {len(months)} outside the limits, the last {words.say_month_to(out[-1].month_end)}"


def say_flow(row: Any) -> str:
    """Baseline, runs and drift, or why there are none."""
    if row.centre is None:
        return f"No limits: {row.why_not}."
    said = f"Limits from {words.say_date(row.baseline_from)} to {words.say_date(row.baseline_to)}, wide enough for months that differ by more than single services would."
    if row.is_run_signal is not None:
        shift = "shifted" if row.is_run_signal else "not shifted"
        said += f" The last 24 months have {shift} about the baseline's median: longest run {row.runs_longest}, {row.runs_allowed} allowed; {row.crossings} crossings, {row.crossings_least} needed."
    drift = "is away from" if row.is_drifting else "is near"
    return f"{said} The smoothed course {drift} the baseline. {say_trend(row)}"


def say_trend(row: Any) -> str:
    """Whether the years go one way."""
    if row.trend_p is None:
        return "Whether the years go one way can be asked from five whole years on."
    points = words.say_number(abs(100 * row.trend_a_year), 1)
    if row.trend_p > 0.05:
        return f"Over {row.trend_years} years no one-way course is more than chance."
    return f"Over {row.trend_years} years the share has {'risen' if row.trend_a_year > 0 else 'fallen'} by {points} points a year, more than chance."


def chart_flow(data: OnTime, context: Context) -> Chart:
    """The share done in time each month, with its limits."""
    columns = name_columns(
        "month_end=Month up to:date; fell_due=Fell due:count; done_in_time=In time:count; in_time_pct=Share in time:percent; "
        "low_pct=Lower limit:percent; high_pct=Upper limit:percent; centre_pct=:percent twin; outside=Outside; ewma=:text twin; ewma_limit=:text twin"
    )  # fmt: skip
    shown = data.months[-MOST_MONTHS:]
    rows = tuple(
        (r.month_end, r.fell_due, r.done_in_time, to_pct(r.rate), to_pct(r.low), to_pct(r.high), to_pct(r.centre), "yes" if r.is_outside else "",
         None if r.ewma is None else words.round_to(r.ewma, 3), None if r.ewma_high is None else words.round_to(r.ewma_high, 3))
        for r in shown
    )  # fmt: skip
    table = Table(
        "flow",
        f"Fell due and done in time on {context.book.name_any()}, whole fleet",
        columns,
        rows,
        empty="Nothing has fallen due yet.",
    )
    if not shown:
        return Chart("flow", "Nothing has fallen due yet", "", limit_charts.draw_limits(Series("", (), ()), None, (), ""), table)
    series = Series("in time", *(tuple(r[n] for r in rows) for n in (0, 3, 4, 5)))
    figure = limit_charts.draw_limits(series, to_pct(shown[-1].centre), [bool(r.is_outside) for r in shown], "done in time, %")
    return Chart("flow", title_flow(shown), say_flow(shown[-1]), figure, table)


def read_size(row: Any) -> float:
    """Independent services, as drawn and as written in the CSV."""
    return words.round_to(row.funnel_services, 1)


def list_curves(vessels: list[Any]) -> dict[str, tuple]:
    """Limits at the vessels' own sizes, smallest first."""
    order = sorted(vessels, key=lambda r: (r.funnel_services, r.imo_number))
    sizes = [read_size(r) for r in order]
    return {
        "95 %": (sizes, [to_pct(r.funnel_low_95) for r in order], [to_pct(r.funnel_high_95) for r in order]),
        "99.8 %": (sizes, [to_pct(r.funnel_low_998) for r in order], [to_pct(r.funnel_high_998) for r in order]),
    }


def say_funnel(data: OnTime) -> str:
    """What counts as a sign, and how large a difference a fleet of this size can show."""
    size = median(r.funnel_services for r in data.vessels)
    seen = data.now.least_ratio if data.now else None
    said = f"Across: how many independent services a vessel's year tells as much as, here {words.say_number(size)} in the middle, since what falls due together is late together. Only the 99.8 % line is a sign; one vessel in 20 is beyond the 95 % line by luck."
    if seen is None:
        return f"{said} At that size no vessel, however late, is found with 80 % chance."
    late = words.say_number(100 * seen * (1 - data.vessels[0].funnel_centre))
    return (
        f"{said} At that size a vessel is found with 80 % chance if {late} of 100 of its services are late, {words.say_number(seen, 1)} times as "
        "many as the others’, were these late as often as the whole fleet is now."
    )


def chart_funnel(data: OnTime, context: Context) -> Chart:
    """Vessels by size and share, between the limits of the fleet."""
    columns = name_columns(
        "vessel=Vessel:link; imo_number=IMO number:code; fell_due=Fell due:count; done_in_time=In time:count; in_time_pct=Share in time:percent; "
        "low_pct=95 % from:percent; high_pct=95 % to:percent; independent=Worth independent services:number; fleet_low_95_pct=:percent twin; fleet_high_95_pct=:percent twin; fleet_low_pct=Limit 99.8 % from:percent; "
        "fleet_high_pct=Limit 99.8 % to:percent; fleet_pct=:percent twin; flag=Outside"
    )  # fmt: skip
    rows = tuple(
        (context.link_vessel(r.imo_number), r.imo_number, r.fell_due, r.done_in_time, to_pct(r.rate), to_pct(r.low), to_pct(r.high),
         read_size(r), *(to_pct(limit) for limit in (r.funnel_low_95, r.funnel_high_95, r.funnel_low_998, r.funnel_high_998, r.funnel_centre)),
         r.flag or "")
        for r in sorted(data.vessels, key=lambda r: (len(data.vessels) > MOST_VESSELS and not r.flag, context.name_vessel(r.imo_number), r.imo_number))
    )  # fmt: skip
    table = Table("funnel", f"Done in time on {context.book.name_any()}, last 12 months, by vessel", columns, rows,
                  empty="Too little fell due in 12 months to set vessels against each other.", shown=MOST_VESSELS)  # fmt: skip
    if not data.vessels:
        return Chart(
            "funnel",
            "Vessels can't be set against each other yet",
            "",
            limit_charts.draw_limits(Series("", (), ()), None, (), ""),
            table,
        )
    out = data.outside
    names = [context.name_vessel(r.imo_number) for r in data.vessels]
    title = (
        f"{words.say_list([f'{context.name_vessel(r.imo_number)} did {r.flag}' for r in out])} than the fleet by more than chance"
        if out
        else f"None of {len(names)} vessels differs from the fleet by more than chance"
    )
    figure = limit_charts.draw_funnel(
        names, [read_size(r) for r in data.vessels], [to_pct(r.rate) for r in data.vessels], [bool(r.flag) for r in data.vessels],
        list_curves(data.vessels), to_pct(data.vessels[0].funnel_centre), ("independent services", "done in time, %"),
    )  # fmt: skip
    return Chart("funnel", title, say_funnel(data), figure, table)
