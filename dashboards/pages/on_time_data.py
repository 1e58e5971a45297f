"""What falls due and is done in time, as the pages need it.

In: figure.on_time_year, on_time_chart, overdue_duration. Out: `OnTime`, and the sentences that say whether a change is more than chance.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import duckdb

from dashboards import words
from dashboards.blocks import Context
from dashboards.database import select_rows
from dashboards.standing import to_pct

NOW, BEFORE, FLEET, ANY = "last 12 months", "the 12 before", "*", "*"
YEARS_SQL = "SELECT * FROM figure.on_time_year ORDER BY period, duty, imo_number"
CHART_SQL = "SELECT * FROM figure.on_time_chart WHERE duty = '*' ORDER BY month_end"
DURATION_SQL = "SELECT * FROM figure.overdue_duration ORDER BY imo_number, duty"


@dataclass(frozen=True)
class OnTime:
    """Years by (period, vessel, duty), the months of any duty, and how long items were overdue."""

    years: dict[tuple[str, str, str], Any]
    months: list[Any]
    durations: list[Any]

    @property
    def now(self) -> Any | None:
        """The fleet's last twelve months on any duty."""
        return self.years.get((NOW, FLEET, ANY))

    @property
    def before(self) -> Any | None:
        """The twelve before."""
        return self.years.get((BEFORE, FLEET, ANY))

    @property
    def vessels(self) -> list[Any]:
        """The vessels' last twelve months on any duty that can stand in the funnel."""
        rows = (row for (period, imo, duty), row in self.years.items() if period == NOW and duty == ANY and imo != FLEET)
        return [row for row in rows if row.funnel_services is not None]

    @property
    def open(self) -> int:
        """Items of any duty that became overdue and are not done."""
        return sum(row.still_open for row in self.durations if (row.imo_number, row.duty) == (FLEET, ANY))

    @property
    def outside(self) -> list[Any]:
        """Those of them outside the 99.8 % limits."""
        return [row for row in self.vessels if row.flag]


def read_on_time(con: duckdb.DuckDBPyConnection) -> OnTime:
    """Query everything once."""
    years = {(row.period, row.imo_number, row.duty): row for row in select_rows(con, YEARS_SQL)}
    return OnTime(years, select_rows(con, CHART_SQL), select_rows(con, DURATION_SQL))


def say_points(value: float) -> str:
    """'6.3 points more', '1.0 points fewer'."""
    return f"{words.say_number(abs(to_pct(value) or 0), 1)} points {'more' if value >= 0 else 'fewer'}"


def say_rate(row: Any) -> str:
    """'84.7 % of the 3,659 that fell due were done in time (95 % interval 76.1 to 91.1 %)', or counts alone."""
    if row.shown != "rate":
        return (
            f"{words.say_number(row.done_in_time)} of {words.say_number(row.fell_due)} that fell due were done in time; no rate is given "
            f"({row.why_not})"
        )
    return (
        f"{words.say_percent(to_pct(row.rate))} of the {words.say_number(row.fell_due)} that fell due were done in time "
        f"(95 % interval {words.say_number(to_pct(row.low), 1)} to {words.say_percent(to_pct(row.high))})"
    )


def say_change(row: Any, before: Any | None) -> str:
    """The verdict in words, with the interval of the change."""
    if before is None or row.change == "too few" or row.difference_low is None:
        return "The 12 months before don't reach back far enough, or hold too little, to compare with."
    span = f"{say_points(row.difference)} than in the 12 before (between {say_points(row.difference_low)} and {say_points(row.difference_high)})"
    verdict = {
        "better": "More than chance: it got better.",
        "worse": "More than chance: it got worse.",
        "can not be told": "Chance alone may do that, so whether anything changed can't be told.",
    }
    return f"That is {span}. {verdict[row.change]}"


def say_real(data: OnTime) -> str:
    """Is it real? The fleet's last year against the one before."""
    if data.now is None:
        left = f" {words.say_capital(words.say_count(data.open, 'item'))} fell due before that and {words.say_verb(data.open, 'is', 'are')} still open."
        return f"Nothing fell due in the last 12 months.{left if data.open else ''}"
    return f"In the last 12 months {say_rate(data.now)}. {say_change(data.now, data.before)}"


def say_outside(data: OnTime, context: Context) -> str:
    """Which vessels differ from the fleet by more than chance."""
    if not data.vessels:
        return "Too little fell due to set vessels against each other."
    if len(data.vessels) == 1:
        return "With one vessel alone there is no fleet to set it against."
    named = [f"{context.name_vessel(row.imo_number)} ({row.flag})" for row in data.outside]
    return f"Outside the limits of the fleet: {words.say_list(named) or 'none of its vessels'}."
