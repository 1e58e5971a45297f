"""Which date forms read a column. In: its distinct cells. Out: a `DateReading`, unsettled where day and month, or day and a short
year, could change places.

DuckDB tries the forms, since DuckDB will read the column. A dialect's list is tried in order, so no second form is proposed
unless it reads cells that the first does not.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, replace

import duckdb

from pipeline.learn.month_names import find_months, put_in_english
from pipeline.learn.vocabulary import read_data
from pipeline.learn.year_place import FIRST, LAST, YearPlace, find_year_place

MOST_TRIED = 300
MOST_CELLS = 50_000
LEAST_SHARE = 0.01
MOST_STRAY = 0.05  # so few cells that read only the other way round are slips, not an order
SHORT_DATE = re.compile(r"(\d{1,2})[./ -]\w+[./ -](\d\d)(?!\d)")
LATEST_SHORT, EARLIEST_SHORT = 49, 90


@dataclass(frozen=True)
class DateReading:
    """`formats` in order; `share` of the cells they read as days, `any_share` with lone months and years.

    `day_first` and `month_first` count the cells that only one order reads; `swapped` are the forms with day and month
    exchanged, empty where the column has no such forms; `year_swapped` those with day and short year exchanged, likewise.
    `stray` shows cells that no form reads. `is_inherited`: other columns told the order, not these cells.
    """

    formats: tuple[str, ...] = ()
    rough_formats: tuple[str, ...] = ()
    share: float = 0.0
    any_share: float = 0.0
    day_first: int = 0
    month_first: int = 0
    swapped: tuple[str, ...] = ()
    stray: tuple[str, ...] = ()
    months: tuple[tuple[str, int], ...] = ()
    is_year_sure: bool = True
    year_swapped: tuple[str, ...] = ()
    year: YearPlace = YearPlace()
    is_inherited: bool = False

    @property
    def is_ordered(self) -> bool:
        """Whether the data tell day, month and a short year apart."""
        return self.tells_month and not self.is_year_open

    @property
    def is_year_open(self) -> bool:
        return bool(self.year_swapped) and not self.year.told

    @property
    def tells_month(self) -> bool:
        """Whether the data tell day and month apart."""
        if not self.swapped or not self.day_first + self.month_first:
            return not self.swapped
        return min(self.day_first, self.month_first) <= MOST_STRAY * max(self.day_first, self.month_first)

    @property
    def is_month_first(self) -> bool:
        return self.month_first > self.day_first

    @property
    def has_short_year(self) -> bool:
        return any("%y" in form for form in self.formats)


def read_dates(columns: dict[str, Counter[str]]) -> dict[str, DateReading]:
    """A reading for each column that looks like dates."""
    return {name: reading for name, cells in columns.items() if (reading := _read_column(cells)) is not None}


def _read_column(cells: Counter[str]) -> DateReading | None:
    total = sum(cells.values())
    months = find_months(cells)
    if months:
        reading = _read_column(Counter(put_in_english(cells, dict(months))))
        return replace(reading, months=months, stray=()) if reading else None
    likely = [value for value, _ in cells.most_common(MOST_CELLS) if re.search(r"\d", value) and 4 <= len(value) <= 30]
    if not likely or sum(cells[value] for value in likely) < 0.5 * total:
        return None
    pairs, years = _pairs("orders"), _pairs("years_first")
    tried = _tried_forms(likely)
    useful = [form for form, read in _try_forms(likely[:: max(1, len(likely) // MOST_TRIED)], tried).items() if read]
    if not useful:
        return None
    for day, month in pairs.items():
        group = [day, month, *([years[day]] if day in years else [])]
        useful = list(dict.fromkeys(useful + (group if set(group) & set(useful) else [])))
    read = _try_forms(likely, useful)
    return _settle(cells, total, read, pairs, years)


def _pairs(key: str) -> dict[str, str]:
    """Forms with day first -> the same with month or year first, also with a time of day behind."""
    times = ["", *read_data("marks.toml")["dates"]["times"]]
    return {day + time: other + time for day, other in read_data("marks.toml")["dates"][key] for time in times}


def _tried_forms(likely: list[str]) -> list[str]:
    """Every form that could fit: times only where a cell has a colon, rough forms last."""
    data = read_data("marks.toml")["dates"]
    full = [form for pair in data["orders"] for form in pair] + data["plain"] + [form for _, form in data["years_first"]]
    timed = [form + time for form in full for time in data["times"]] if any(":" in value for value in likely[:500]) else []
    return full + timed + data["months"] + data["years"]


def _try_forms(values: list[str], forms: list[str]) -> dict[str, set[str]]:
    """Which values each form reads into a year of our time."""
    con = duckdb.connect(config={"autoinstall_known_extensions": "false", "autoload_known_extensions": "false", "threads": "2"})
    try:
        tests = ", ".join(
            f"coalesce(year(try_strptime(value, $f{number})) between 1900 and 2200, false)" for number in range(len(forms))
        )
        bound = {f"f{number}": form for number, form in enumerate(forms)}
        rows = con.execute(
            f"select value, [{tests}] from (select unnest($values) as value)", {"values": values, **bound}
        ).fetchall()
    finally:
        con.close()
    return {form: {value for value, flags in rows if flags[number]} for number, form in enumerate(forms)}


def _settle(
    cells: Counter[str], total: int, read: dict[str, set[str]], pairs: dict[str, str], years: dict[str, str]
) -> DateReading:
    """Choose the fewest forms, the ones that read most first."""
    rough = set(read_data("marks.toml")["dates"]["months"]) | set(read_data("marks.toml")["dates"]["years"])
    weigh = lambda values: sum(cells[value] for value in values)  # noqa: E731
    months = {month: day for day, month in pairs.items()}
    day_first = sum(weigh(read[d] - read[m]) for d, m in pairs.items() if d in read and m in read)
    month_first = sum(weigh(read[m] - read[d]) for d, m in pairs.items() if d in read and m in read)
    refused = set(pairs) if month_first > day_first else set(months)
    place = find_year_place(cells)
    if place.told == FIRST:
        # Beside a year that stands first there is no doubt of day and month.
        refused, day_first, month_first = refused | set(years) | {pairs[day] for day in years}, 0, 0
    else:
        refused |= set(years.values())
    chosen = _choose([form for form in read if form not in rough and form not in refused], read, cells, set(), total)
    seen = set().union(*(read[form] for form in chosen)) if chosen else set()
    rough_chosen = _choose([form for form in read if form in rough], read, cells, seen, total)
    every = seen.union(*(read[form] for form in rough_chosen)) if rough_chosen else seen
    swapped = tuple((pairs | months)[form] for form in chosen if form in pairs or form in months)
    stray = tuple(value for value, _ in cells.most_common() if value not in every)[:3]
    shares = (weigh(seen) / total, weigh(every) / total)
    year_swapped = _swap_years(chosen)
    is_year_sure = _is_year_possible(seen) if year_swapped or place.told == FIRST else _is_year_sure(seen)
    return DateReading(
        tuple(chosen), tuple(rough_chosen), *shares, day_first, month_first, swapped, stray,
        is_year_sure=is_year_sure, year_swapped=year_swapped, year=place,
    )  # fmt: skip


def _swap_years(forms: list[str] | tuple[str, ...]) -> tuple[str, ...]:
    """For the forms whose short year stands last, those in which it stands first."""
    years, days = _pairs("years_first"), {month: day for day, month in _pairs("orders").items()}
    return tuple(years[day] for form in forms if (day := days.get(form, form)) in years)


def _is_year_possible(values: set[str]) -> bool:
    """Whether the numbers that stand for years can only be years of our time."""
    years = {found[2] for value in values if (found := SHORT_DATE.match(value))}
    return all(int(year) <= LATEST_SHORT or int(year) >= EARLIEST_SHORT for year in years)


def _is_year_sure(values: set[str]) -> bool:
    """Whether the last of three short numbers can only be a year of our time: few of them, while the first goes through days."""
    parts = [found.groups() for value in values if (found := SHORT_DATE.match(value))]
    years, days = {year for _, year in parts}, {day for day, _ in parts}
    return _is_year_possible(values) and len(years) < max(2, len(days))


def _choose(forms: list[str], read: dict[str, set[str]], cells: Counter[str], seen: set[str], total: int) -> list[str]:
    chosen: list[str] = []
    seen = set(seen)
    while forms:
        gains = {form: sum(cells[value] for value in read[form] - seen) for form in forms}
        best = max(forms, key=lambda form: gains[form])
        if gains[best] < max(1, LEAST_SHARE * total):
            return chosen
        chosen.append(best)
        seen |= read[best]
        forms = [form for form in forms if form != best]
    return chosen


def settle_orders(readings: dict[str, DateReading]) -> dict[str, DateReading]:
    """Let columns whose cells tell day, month and year apart settle those of the same file that can't, unless they disagree."""
    readings = _settle_years(readings)
    told = {reading.is_month_first for reading in readings.values() if reading.swapped and reading.tells_month}
    if len(told) != 1:
        return readings
    is_month_first = told.pop()
    return {name: _follow(reading, is_month_first) for name, reading in readings.items()}


def _settle_years(readings: dict[str, DateReading]) -> dict[str, DateReading]:
    """A short year stands last in all columns where it does in those that tell it and no column leans the other way.

    That it stands first in one column is no proof for another: lists are met that have both.
    """
    told = {reading.year.told for reading in readings.values() if any("%y" in form for form in reading.formats)} - {""}
    waiting = [reading for reading in readings.values() if reading.is_year_open]
    if told != {LAST} or any(reading.year.leans_against(LAST) for reading in waiting):
        return readings
    settled = replace(YearPlace(), told=LAST)
    return {
        name: replace(reading, year=settled, is_inherited=True) if reading.is_year_open else reading
        for name, reading in readings.items()
    }


def _follow(reading: DateReading, is_month_first: bool) -> DateReading:
    if reading.tells_month or reading.day_first + reading.month_first:
        return reading
    pairs = _pairs("orders")
    months = {month: day for day, month in pairs.items()}
    forms = tuple((pairs if is_month_first else months).get(form, form) for form in reading.formats)
    swapped = tuple((pairs | months)[form] for form in forms if form in pairs or form in months)
    first = {"month_first": int(is_month_first), "day_first": int(not is_month_first)}
    return replace(reading, formats=forms, swapped=swapped, is_inherited=True, **first)
