"""Where a date with a short year has its year: last as in 31-12-26, or first as in 26-12-31. In: cells. Out: a `YearPlace`."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass

SHORT = re.compile(r"(\d{1,2})[./-](\d{1,2})[./-](\d\d)(?!\d)")
LAST, FIRST = "last", "first"
MOST_STRAY = 0.05  # so few cells that say the other place are slips
TIMES_MORE = 2  # a list goes through at least so many more days than years before that alone tells which is which
LONGEST_MONTH, MONTHS = 31, 12


@dataclass(frozen=True)
class YearPlace:
    """`told` is LAST or FIRST, '' where the cells leave it open; `lean` is how many more numbers stand first than last."""

    told: str = ""
    lean: int = 0

    def leans_against(self, place: str) -> bool:
        return self.lean < 0 if place == LAST else self.lean > 0


def find_year_place(cells: Counter[str]) -> YearPlace:
    """A number that can be no day is a year; else few numbers that stand last beside many that stand first are years.

    Few that stand first prove nothing: work is done on some days of a month as well as in some years.
    """
    parts = [(tuple(map(int, found.groups())), count) for cell, count in cells.items() if (found := SHORT.match(cell))]
    if not parts:
        return YearPlace()
    firsts, lasts = ({numbers[place] for numbers, _ in parts} for place in (0, 2))
    # A middle number that is no month is the day of month-day-year.
    last = sum(count for (_, middle, end), count in parts if _is_no_day(end) or middle > MONTHS)
    first = sum(count for (start, middle, _), count in parts if _is_no_day(start) and middle <= MONTHS)
    lean = len(firsts) - len(lasts)
    total = sum(count for _, count in parts)
    # Where all stand on the first of a month, year by year, the one number that stands last is no year.
    is_last_by_variety = len(firsts) >= TIMES_MORE * len(lasts) and lasts != {1}
    if is_last_by_variety and first <= MOST_STRAY * total:
        return YearPlace(LAST, lean)
    if min(first, last) > MOST_STRAY * max(first, last):
        return YearPlace("", lean)
    return YearPlace(LAST if last > first else FIRST if first else "", lean)


def _is_no_day(number: int) -> bool:
    return number == 0 or number > LONGEST_MONTH
