"""The Overdue page's tables of the flow: the year by duty, and how long what became overdue stayed so.

In: `OnTime`. Out: tables.
"""

from __future__ import annotations

from typing import Any

from dashboards import words
from dashboards.blocks import Context, Table, name_columns
from dashboards.pages.list_flow import name_flow
from dashboards.pages.on_time_data import ANY, BEFORE, FLEET, NOW, OnTime
from dashboards.standing import to_pct

SHOWN = 40


def say_points(change: float | None, low: float | None, high: float | None) -> str:
    """'+6.3 (−4.6 to +16.7)'; nothing where it has no limits."""
    if change is None or low is None or high is None:
        return words.NONE
    return "{} ({} to {})".format(*(f"{v:+.1f}".replace("-", "−") for v in (change, low, high)))


def list_years(data: OnTime, context: Context) -> Table:
    """The fleet, duty by duty: this year, the one before, and whether the change can be told."""
    columns = name_columns(
        "duty=Duty; fell_due=Fell due:count; done_in_time=In time:count; not_in_time=Not in time:count; in_time_pct=Share in time (95 % interval):percent_interval; "
        "before_pct=12 before:percent; change=Change, points (95 % interval):page_number; change_points=:number twin; change_low=:number twin; "
        "change_high=:number twin; verdict=Verdict; why_counts_only=Counts only, because:long"
    )  # fmt: skip
    rows = []
    for duty in sorted({duty for _, imo, duty in data.years if imo == FLEET}, key=context.book.order_duty):
        now, before = (data.years.get((period, FLEET, duty)) for period in (NOW, BEFORE))
        if now is None or not now.fell_due:
            continue
        share = tuple(to_pct(v) if now.shown == "rate" else None for v in (now.rate, now.low, now.high))
        points = tuple(to_pct(v) for v in (now.difference, now.difference_low, now.difference_high))
        rows.append(
            (words.say_capital(context.book.name_duty(duty)), context.count(now.fell_due, name_flow("fell-due", duty)), now.done_in_time,
             context.count(now.fell_due - now.done_in_time, name_flow("not-in-time", duty)), share,
             to_pct(before.rate) if before and before.shown == "rate" else None, say_points(*points), *points,
             (now.change or "").replace("can not", "can't"), now.why_not or "")
        )  # fmt: skip
    return Table(
        "on-time",
        "Done in time in the last 12 months, by duty",
        columns,
        tuple(rows),
        empty="Nothing fell due in the last 12 months.",
    )


def write_duration(row: Any, context: Context) -> tuple:
    """One row of the table below."""
    times = (row.median_days, row.median_low, row.median_high, row.p90_days, row.p90_low, row.p90_high)
    days = [None if v is None else words.round_whole(v) for v in times]
    limits = "" if days[1] is None else f"{days[1]} to {days[2]}" if days[2] is not None else f"{days[1]} or more"
    vessel = "Fleet" if row.imo_number == FLEET else context.name_vessel(row.imo_number)
    duty = words.say_capital(context.book.name_duty(row.duty))
    still_open = context.count(
        row.still_open,
        f"overdue-{'any' if row.duty == ANY else row.duty}",
        "fleet" if row.imo_number == FLEET else row.imo_number,
    )
    return (duty, vessel, row.items, still_open, days[0], limits, *days[1:], row.why_not or "")


DURATION_COLUMNS = name_columns(
    "duty=Duty; vessel=Vessel; items=Items:count; still_open=Still open:count; median_days=Half done by, days:count; limits=95 % limits:page_text; "
    "median_low=:count twin; median_high=:count twin; p90_days=90 % done by, days:count; p90_low=:count twin; p90_high=:count twin; why_not=Not told, because:long"
)  # fmt: skip


def list_durations(data: OnTime, context: Context) -> tuple[Table, ...]:
    """How long what became overdue stayed so: the fleet by duty and the vessels on any duty, then each vessel's single duties."""
    order = sorted(
        data.durations,
        key=lambda r: (
            r.imo_number != FLEET,
            r.duty != ANY,
            context.book.order_duty(r.duty),
            -r.items,
            context.name_vessel(r.imo_number),
        ),
    )
    single = [r for r in order if r.imo_number != FLEET and r.duty != ANY]
    first = tuple(write_duration(r, context) for r in order if r.imo_number == FLEET or r.duty == ANY)
    caption = "How long what became overdue stayed so, since the records began; items still open are allowed for"
    tables = (Table("durations", caption, DURATION_COLUMNS, first, empty="Nothing has become overdue.", shown=SHOWN),)
    if not single:
        return tables
    rows = tuple(write_duration(row, context) for row in single)
    return (
        *tables,
        Table("vessel-durations", f"{caption}: each vessel and duty", DURATION_COLUMNS, rows, shown=SHOWN, is_folded=True),
    )
