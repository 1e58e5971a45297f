"""How long defects last, which come back, and which units fail soon after service.

In: figure.defect_closing, figure.defect_repeat, figure.service_failure. Out: three tables.
"""

from __future__ import annotations

from dashboards import words
from dashboards.blocks import Context, Table, name_columns
from dashboards.pages.defect_rates import EMPTY, PERIOD, Row
from dashboards.pages.list_found import name_found
from dashboards.pages.list_services import name_services

CLOSING_SQL = """
    SELECT * FROM figure.defect_closing WHERE period = 'last 12 months'
    ORDER BY imo_number <> '*', severity <> '*', list_position(['unfit', 'major', 'minor'], severity) NULLS LAST, severity, imo_number"""
REPEAT_SQL = """
    SELECT * FROM figure.defect_repeat WHERE period = 'last 12 months' ORDER BY component <> '*', findings DESC, component"""
SERVICE_SQL = "SELECT * FROM figure.service_failure ORDER BY period <> 'last 12 months', provider <> '*', provider"
FEWEST = 10
SHORT = {
    "fewer than 10 defects": "too few",
    "none of them is closed": "none closed",
    "more than half are still open": "most still open",
    "more than one in ten last longer than the records can tell": "too many open to tell",
}


def say_days(value: float | None, low: float | None, high: float | None, why_not: str | None) -> str:
    """'12 days (8 to 30)', '32 days (17 or more)', 'on the day', or why it can't be told."""
    if value is None:
        return SHORT.get(why_not or "", words.NONE)
    said = "on the day" if value == 0 else words.say_count(words.round_whole(value), "day")
    if low is None and high is None:
        return said
    if high is None:
        return f"{said} ({words.say_number(low)} or more)"
    return said if low == high == value else f"{said} ({words.say_number(low or 0)} to {words.say_number(high)})"


def name_group(row: Row, context: Context) -> str:
    """All defects, those of a severity, those of a vessel."""
    if row.imo_number != "*":
        return context.name_vessel(row.imo_number)
    return "all defects" if row.severity == "*" else f"severity {row.severity}"


def count_lasting(row: Row, context: Context) -> tuple:
    """Found, closed the same day, still open, each leading to its list."""
    split = (
        ("vessel", row.imo_number) if row.imo_number != "*" else ("*", "*") if row.severity == "*" else ("severity", row.severity)
    )
    numbers = (("found", row.defects), ("closed-same-day", row.closed_same_day), ("still-open", row.still_open))
    return tuple(context.count(n, name_found(which, PERIOD, *split)) for which, n in numbers)


def list_lasting(rows: list[Row], context: Context) -> Table:
    """By when half and nine in ten are put right; those still open count as lasting to the day."""
    columns = name_columns(
        "of=Of; defects=Found:count; closed_same_day=Closed the same day:count; still_open=Still open:count; "
        "median_days=:number twin; median_low=:number twin; median_high=:number twin; p90_days=:number twin; p90_low=:number twin; "
        "p90_high=:number twin; half=Half are closed within:page_number; most=Nine in ten within:page_number; why_not=:text twin"
    )
    cells = tuple(
        (
            name_group(r, context), *count_lasting(r, context), r.median_days, r.median_low, r.median_high, r.p90_days,
            r.p90_low, r.p90_high, say_days(r.median_days, r.median_low, r.median_high, r.why_not), say_days(r.p90_days, r.p90_low, r.p90_high, r.why_not),
            r.why_not or "",
        )
        for r in sorted(rows, key=lambda r: "" if r.imo_number == "*" else context.name_vessel(r.imo_number))
    )  # fmt: skip
    caption = f"Time to close, found in the {PERIOD}: those still open are counted as lasting at least until now (95 % interval)"
    return Table("lasting", caption, columns, cells, empty=EMPTY, shown=40)


def list_repeats(rows: list[Row], context: Context) -> Table:
    """Defects that the same unit had had before."""
    columns = name_columns(
        "component=Component; findings=Found:count; repeats=Found before on that unit:count; "
        "repeat_pct=Share (95 % interval):percent_interval"
    )
    cells = tuple(
        (
            "all components" if r.component == "*" else words.say_slug(r.component),
            context.count(r.findings, name_found("found", PERIOD, "*" if r.component == "*" else "component", r.component)), r.repeats,
            (None, None, None) if r.share is None else (100 * r.share, 100 * r.low, 100 * r.high),
        )
        for r in rows
    )  # fmt: skip
    return Table("repeats", f"Closed and then found anew on the same unit, {PERIOD}", columns, cells, empty=EMPTY)


def say_gap(row: Row) -> str:
    """The difference from all other providers, in units of 100 services."""
    if row.difference is None:
        return words.NONE
    numbers = (words.say_number(value, 1) for value in (row.difference, row.difference_low, row.difference_high))
    return "{} ({} to {})".format(*numbers)


def count_services(row: Row, context: Context) -> tuple:
    """Units serviced, looked at again, and failed, each leading to its list."""
    numbers = (("serviced", row.services), ("looked-at", row.followed), ("failed", row.failed))
    return tuple(context.count(n, name_services(which, row.period, row.provider)) for which, n in numbers)


def list_services(rows: list[Row], context: Context) -> Table:
    """Units that failed within 90 days of a service that passed them."""
    columns = name_columns(
        "period=Serviced in; provider=Provider; services=Units serviced:count; followed=Looked at within 90 days:count; "
        "failed=Failed:count; per_100=Per 100 looked at (95 % interval):interval; difference=:number twin; difference_low=:number twin; "
        "difference_high=:number twin; gap=Against the others, points:page_number; verdict=Verdict"
    )
    cells = tuple(
        (
            r.period.replace("all", "all years"), "all providers" if r.provider == "*" else r.provider, *count_services(r, context),
            (None, None, None) if r.low is None or r.followed < FEWEST else (r.per_100, r.low, r.high),
            r.difference, r.difference_low, r.difference_high, say_gap(r), (r.verdict or r.why_not or "").replace("can not", "can’t"),
        )
        for r in rows
    )  # fmt: skip
    empty = "No unit has been serviced with a satisfactory outcome 90 days or more before this date."
    apart = sorted({r.provider for r in rows if (r.verdict or "").startswith("fails")})
    told = f"{words.say_list(apart)} can be told apart from the others" if apart else "none can be told apart from the others"
    caption = f"Units with a new major or unfit defect within 90 days of service: {told if rows else 'none to follow'}"
    return Table("after-service", caption, columns, cells, empty=empty)
