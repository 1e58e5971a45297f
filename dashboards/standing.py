"""How a vessel or the fleet stands on the day, and how it stood before: read off figure.overdue_monthly.

In: the connection. Out: for each vessel ('*' the fleet) and duty ('*' any of those that count for it) its months in order, and
comparisons of the day with the month end before and the same month a year before. No figure is computed here but differences.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

import duckdb

from dashboards import database, words

DUTY_ORDER = (
    "*", "onboard_check", "annual_service", "pressure_test", "sample_discharge", "wheeled_examination", "recharge_after_use",
)  # fmt: skip
GROUP_DUTIES = ("sample_discharge", "wheeled_examination")

Months = dict[tuple[str, str], list[Any]]


@dataclass(frozen=True)
class Comparison:
    """The day beside the month end before and the same month of the year before; either may be missing."""

    duty: str
    now: Any
    month_before: Any | None
    year_before: Any | None

    @property
    def change_on_month(self) -> int | None:
        """Units overdue now less those on the month end before."""
        return None if self.month_before is None else self.now.overdue - self.month_before.overdue

    @property
    def change_on_year(self) -> int | None:
        """Units overdue now less those a year before."""
        return None if self.year_before is None else self.now.overdue - self.year_before.overdue


def order_duty(duty: str) -> tuple[int, str]:
    """Sort key: the order in which people speak of duties, unknown ones last by name."""
    return (DUTY_ORDER.index(duty) if duty in DUTY_ORDER else len(DUTY_ORDER), duty)


def read_months(con: duckdb.DuckDBPyConnection) -> Months:
    """All months of all vessels, one query."""
    rows = database.select_rows(
        con,
        """SELECT month_end, imo_number, duty, units, overdue, unknown, rate, overdue_unit_days, unit_days, days_rate
           FROM figure.overdue_monthly ORDER BY imo_number, duty, month_end""",
    )
    months: Months = {}
    for row in rows:
        months.setdefault((row.imo_number, row.duty), []).append(row)
    return months


def compare_months(rows: list[Any], as_of: date) -> Comparison | None:
    """The last row against the one before and the same month a year before; None where nothing stands on the day."""
    if not rows or rows[-1].month_end != as_of:
        return None
    before = rows[-2] if len(rows) > 1 else None
    wanted = (as_of.year - 1, as_of.month)
    year = next((r for r in rows if (r.month_end.year, r.month_end.month) == wanted), None)
    return Comparison(rows[-1].duty, rows[-1], before, year)


def compare_duties(months: Months, imo_number: str, as_of: date) -> list[Comparison]:
    """One comparison for each duty that counts for the vessel, in speaking order."""
    duties = sorted((duty for imo, duty in months if imo == imo_number), key=order_duty)
    found = (compare_months(months[imo_number, duty], as_of) for duty in duties)
    return [comparison for comparison in found if comparison]


def to_pct(rate: float | None) -> float | None:
    """A share of 0 to 1 as a percentage with two decimals."""
    return None if rate is None else round(100 * rate, 2)


def say_changes(comparison: Comparison) -> str:
    """'3 fewer than on 30 Sep 2026 and 2 more than on 31 Oct 2025', or why there is nothing to compare with."""
    parts = []
    if comparison.month_before:
        parts.append(
            words.say_difference(comparison.change_on_month or 0, f"on {words.say_date(comparison.month_before.month_end)}")
        )
    if comparison.year_before:
        parts.append(
            words.say_difference(comparison.change_on_year or 0, f"on {words.say_date(comparison.year_before.month_end)}")
        )
    return words.say_list(parts) or "there is no earlier month to compare with"


def say_counted(duty: str, count: int) -> str:
    """Units, or sample groups where the duty counts those."""
    return words.say_count(count, "sample group" if duty in GROUP_DUTIES else "unit")
