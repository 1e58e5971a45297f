"""Which date forms read a column. In: its distinct cells. Out: a `DateReading`, unsettled where day and month could change places.

DuckDB tries the forms, since DuckDB will read the column. A dialect's list is tried in order, so no second form is proposed
unless it reads cells that the first does not.
"""

from __future__ import annotations

import calendar
import re
from collections import Counter
from dataclasses import dataclass, replace

import duckdb

from pipeline.learn.vocabulary import read_data

MOST_TRIED = 300
MOST_CELLS = 50_000
LEAST_SHARE = 0.01
MOST_STRAY = 0.05  # so few cells that read only the other way round are slips, not an order
SHORT_DATE = re.compile(r"(\d{1,2})[./ -]\w+[./ -](\d\d)(?!\d)")
LATEST_SHORT, EARLIEST_SHORT = 49, 90
SHORT_MONTH = 4
MONTH_WORD = re.compile(r"[^\W\d_]+")


@dataclass(frozen=True)
class DateReading:
    """`formats` in order; `share` of the cells they read as days, `any_share` with lone months and years.

    `day_first` and `month_first` count the cells that only one order reads; `swapped` are the forms with day and month
    exchanged, empty where the column has no such forms. `stray` shows cells that no form reads.
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

    @property
    def is_ordered(self) -> bool:
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
        reading = _read_column(Counter(_put_in_english(cells, dict(months))))
        return replace(reading, months=months, stray=()) if reading else None
    likely = [value for value, _ in cells.most_common(MOST_CELLS) if re.search(r"\d", value) and 4 <= len(value) <= 30]
    if not likely or sum(cells[value] for value in likely) < 0.5 * total:
        return None
    pairs = {day: month for day, month in read_data("marks.toml")["dates"]["orders"]}
    tried = _tried_forms(likely)
    useful = [form for form, read in _try_forms(likely[:: max(1, len(likely) // MOST_TRIED)], tried).items() if read]
    if not useful:
        return None
    for day, month in _with_times(pairs):
        useful = list(dict.fromkeys(useful + ([day, month] if day in useful or month in useful else [])))
    read = _try_forms(likely, useful)
    return _settle(cells, total, read, dict(_with_times(pairs)))


def _with_times(pairs: dict[str, str]) -> list[tuple[str, str]]:
    times = ["", *read_data("marks.toml")["dates"]["times"]]
    return [(day + time, month + time) for day, month in pairs.items() for time in times]


def _tried_forms(likely: list[str]) -> list[str]:
    """Every form that could fit: times only where a cell has a colon, rough forms last."""
    data = read_data("marks.toml")["dates"]
    full = [form for pair in data["orders"] for form in pair] + data["plain"]
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


def _settle(cells: Counter[str], total: int, read: dict[str, set[str]], pairs: dict[str, str]) -> DateReading:
    """Choose the fewest forms, the ones that read most first."""
    rough = set(read_data("marks.toml")["dates"]["months"]) | set(read_data("marks.toml")["dates"]["years"])
    weigh = lambda values: sum(cells[value] for value in values)  # noqa: E731
    months = {month: day for day, month in pairs.items()}
    day_first = sum(weigh(read[d] - read[m]) for d, m in pairs.items() if d in read and m in read)
    month_first = sum(weigh(read[m] - read[d]) for d, m in pairs.items() if d in read and m in read)
    refused = set(pairs) if month_first > day_first else set(months)
    chosen = _choose([form for form in read if form not in rough and form not in refused], read, cells, set(), total)
    seen = set().union(*(read[form] for form in chosen)) if chosen else set()
    rough_chosen = _choose([form for form in read if form in rough], read, cells, seen, total)
    every = seen.union(*(read[form] for form in rough_chosen)) if rough_chosen else seen
    swapped = tuple((pairs | months)[form] for form in chosen if form in pairs or form in months)
    stray = tuple(value for value, _ in cells.most_common() if value not in every)[:3]
    shares = (weigh(seen) / total, weigh(every) / total)
    return DateReading(
        tuple(chosen), tuple(rough_chosen), *shares, day_first, month_first, swapped, stray, is_year_sure=_is_year_sure(seen)
    )


def _is_year_sure(values: set[str]) -> bool:
    """Whether the last of three short numbers can only be a year of our time: few of them, while the first goes through days."""
    parts = [found.groups() for value in values if (found := SHORT_DATE.match(value))]
    years, days = {year for _, year in parts}, {day for day, _ in parts}
    return all(int(year) <= LATEST_SHORT or int(year) >= EARLIEST_SHORT for year in years) and len(years) < max(2, len(days))


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


def find_months(cells: Counter[str]) -> tuple[tuple[str, int], ...]:
    """The names of months in the cells that are not English short ones, in the language that knows most of them."""
    words = Counter()
    for cell, count in cells.items():
        if (found := MONTH_WORD.search(cell)) and re.search(r"\d", cell) and len(cell) <= 30:
            words[found[0].lower()] += count
    english = {name.lower() for name in (*calendar.month_abbr, *calendar.month_name) if name}
    if not words or len(words) > 60 or sum(words.values()) < 0.5 * sum(cells.values()):
        return ()
    best: dict[str, int] = {}
    for names in read_data("marks.toml")["months"].values():
        known = {name: number for number, group in enumerate(names, 1) for name in group.split()}
        best = max(best, known, key=lambda found: sum(words[word] for word in words if word in found))
    hits = [word for word in words if word in best]
    if all(word in english for word in hits) or sum(words[word] for word in hits) < 0.8 * sum(words.values()):
        return ()
    # The months that are not here yet will come: those written as long as these.
    longest = 99 if any(len(word) > SHORT_MONTH for word in hits) else SHORT_MONTH
    return tuple(
        (word, number) for word, number in best.items() if word not in english and (len(word) <= longest or word in hits)
    )


def _put_in_english(cells: Counter[str], months: dict[str, int]) -> dict[str, int]:
    """The cells as the pipeline will read them: the first word an English short name, without a point."""
    found: Counter[str] = Counter()
    for cell, count in cells.items():
        word = MONTH_WORD.search(cell)
        number = months.get(word[0].lower()) if word else None
        text = cell[: word.start()] + calendar.month_abbr[number] + cell[word.end() :].removeprefix(".") if number else cell
        found[text] += count
    return dict(found)


def settle_orders(readings: dict[str, DateReading]) -> dict[str, DateReading]:
    """Let columns whose cells tell day from month settle those of the same file that can't, unless they disagree."""
    told = {reading.is_month_first for reading in readings.values() if reading.swapped and reading.is_ordered}
    if len(told) != 1:
        return readings
    is_month_first = told.pop()
    return {name: _follow(reading, is_month_first) for name, reading in readings.items()}


def _follow(reading: DateReading, is_month_first: bool) -> DateReading:
    if reading.is_ordered or reading.day_first + reading.month_first:
        return reading
    pairs = dict(_with_times(dict(read_data("marks.toml")["dates"]["orders"])))
    months = {month: day for day, month in pairs.items()}
    forms = tuple((pairs if is_month_first else months).get(form, form) for form in reading.formats)
    swapped = tuple((pairs | months)[form] for form in forms if form in pairs or form in months)
    return replace(reading, formats=forms, swapped=swapped, month_first=int(is_month_first), day_first=int(not is_month_first))
