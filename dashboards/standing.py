"""How a vessel or the fleet stands on the day, and how it stood before: read off figure.overdue_monthly.

In: the connection. Out: for each vessel ('*' the fleet) and duty ('*' any of those that make a unit overdue) its months in
order, comparisons of the day with earlier days, of twelve months with the twelve before, and the sentences that say them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import duckdb
from markupsafe import Markup

from dashboards import database, words
from dashboards.blocks import FLEET, Context
from dashboards.rule_book import RuleBook

Months = dict[tuple[str, str], list[Any]]
YEAR = 12  # months
MONTHS_SQL = """
    SELECT month_end, imo_number, duty, units, overdue, unknown, rate, overdue_unit_days, unit_days, days_rate
    FROM figure.overdue_monthly WHERE $has_all OR '*' IN (imo_number, duty) ORDER BY imo_number, duty, month_end"""


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


@dataclass(frozen=True)
class YearPair:
    """Share of unit-days overdue, in per cent, in the last twelve months and in the twelve before; `since` begins the last."""

    duty: str
    since: date
    now_pct: float
    before_pct: float

    @property
    def is_moved(self) -> bool:
        """True where the two differ as they are written, to one place."""
        return words.round_half_up(self.now_pct, 1) != words.round_half_up(self.before_pct, 1)


def read_months(con: duckdb.DuckDBPyConnection, has_all: bool = True) -> Months:
    """All months of all vessels, one query; else the fleet's of each duty and the vessels' of any, which is a fifth of them."""
    months: Months = {}
    for row in database.select_rows(con, MONTHS_SQL, has_all=has_all):
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


def compare_duties(months: Months, imo_number: str, as_of: date, book: RuleBook) -> list[Comparison]:
    """One comparison for each duty that counts for the vessel, in speaking order."""
    duties = sorted((duty for imo, duty in months if imo == imo_number), key=book.order_duty)
    found = (compare_months(months[imo_number, duty], as_of) for duty in duties)
    return [comparison for comparison in found if comparison]


def number_month(day: date) -> int:
    """Months counted through, so that months can be told apart by subtraction."""
    return day.year * YEAR + day.month - 1


def compare_years(rows: Sequence[Any]) -> YearPair | None:
    """Twelve months, the last running to the day, against the twelve before; None where the records don't reach back so far."""
    if not rows:
        return None
    last = number_month(rows[-1].month_end)
    parts = [[r for r in rows if number_month(r.month_end) in range(end - YEAR + 1, end + 1)] for end in (last, last - YEAR)]
    if len(parts[1]) < YEAR or len(parts[0]) < YEAR:
        return None
    now, before = (100 * sum(r.overdue_unit_days for r in part) / sum(r.unit_days for r in part) for part in parts)
    return YearPair(rows[-1].duty, parts[0][0].month_end.replace(day=1), now, before)


def list_year_pairs(months: Months, imo_number: str, book: RuleBook) -> list[YearPair]:
    """The pair of each duty, in speaking order."""
    duties = sorted((duty for imo, duty in months if imo == imo_number), key=book.order_duty)
    return [pair for pair in (compare_years(months[imo_number, duty]) for duty in duties) if pair]


def to_pct(rate: float | None) -> float | None:
    """A share of 0 to 1 as a percentage with two decimals."""
    return None if rate is None else words.round_to(100 * rate, 2)


def say_standing(now: Any, where: str, context: Context, root: str = "") -> Markup:
    """'On D 13 of 258 units in service on 6 vessels (5.0 %) were overdue …': the one sentence of Fleet, Overdue and Vessel.

    The whole is every unit in service; those that can't be told stand beside it and are never taken as in time.
    """
    scope = FLEET if now.imo_number == "*" else now.imo_number

    def say(value: int, name: str) -> str:
        return context.say_count(value, name, scope, root)

    count = say(now.overdue, "overdue-any") if now.overdue else "none"
    share = f" ({words.say_percent(100 * now.overdue / now.units)})" if now.overdue else ""
    unknown = Markup("; {} can't be told (nothing to count from)").format(say(now.unknown, "unknown-any")) if now.unknown else ""
    return Markup("On {} <strong>{} of {}</strong> in service{}{} {} overdue for {}{}").format(
        words.say_date(context.as_of),
        count,
        Markup("{} {}").format(say(now.units, "duty-any"), "unit" if now.units == 1 else "units"),
        where,
        share,
        "was" if now.overdue <= 1 else "were",
        context.book.list_any(),
        unknown,
    )


def say_changes(comparison: Comparison) -> str:
    """'3 fewer than on 30 Sep 2026 and 2 more than on 31 Oct 2025', or why there is nothing to compare with."""
    pairs = ((comparison.change_on_month, comparison.month_before), (comparison.change_on_year, comparison.year_before))
    parts = [words.say_difference(change or 0, f"on {words.say_date(row.month_end)}") for change, row in pairs if row]
    return words.say_list(parts) or "there is no earlier month to compare with"


def say_years(pair: YearPair | None) -> str:
    """'Since 1 Nov 2025 5.2 % of unit-days were overdue, against 3.9 % in the 12 months before', or that it is too early."""
    if pair is None:
        return "The records don't span 24 months yet, so this year can't be set against the one before"
    return (
        f"Since {words.say_date(pair.since)} {words.say_percent(pair.now_pct)} of unit-days were overdue, "
        f"against {words.say_percent(pair.before_pct)} in the 12 months before"
    )


def say_moves(pairs: list[YearPair], book: RuleBook) -> str:
    """'onboard check 1.0 % (before: 2.0 %)', for the duties that moved."""
    single = [p for p in pairs if p.duty != "*" and p.is_moved]
    single.sort(key=lambda p: (-abs(p.now_pct - p.before_pct), book.order_duty(p.duty)))
    said = [
        f"{book.name_duty(p.duty)} {words.say_percent(p.now_pct)} (before: {words.say_percent(p.before_pct)})" for p in single
    ]
    return words.say_list(said) or "no duty moved by as much as 0.1 points"
