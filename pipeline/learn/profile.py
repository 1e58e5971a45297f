"""What the cells of a column look like, whatever its header says. In: a sheet. Out: a `Profile` a named column."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass
from functools import cache

from pipeline.contract import Column, imo_number
from pipeline.learn.dates import DateReading, read_dates, settle_orders
from pipeline.learn.foot import unit_words
from pipeline.learn.sheet import Sheet
from pipeline.learn.vocabulary import match_column, plain, read_data

THOUSANDS = " '\u2019\u00a0\u202f"
NUMBER = re.compile(rf"[+-]?(?:\d+(?:[.,]\d+)?|\d{{1,3}}(?:[.,{THOUSANDS}]\d{{3}})+(?:[.,]\d+)?|[.,]\d+)")
WITH_UNIT = re.compile(r"[+-]?\d[\d.,]*\s*([^\W\d_][^\s\d.,]{0,7}[23²³]?|[%°\"'])\.?")
MOSTLY = 0.7
MOST_WORDS = 60
MOST_SHOWN = 3


@dataclass(frozen=True)
class Profile:
    """A column: `cells` are its distinct non-empty texts but null words, with counts; shares are of those."""

    header: str
    bare: str
    unit: str | None
    cells: Counter[str]
    nulls: Counter[str]
    number_share: float
    imo_share: float
    digit_share: float
    suffixes: Counter[str]
    is_counter: bool
    dates: DateReading | None

    @property
    def filled(self) -> int:
        return sum(self.cells.values())

    @property
    def examples(self) -> tuple[str, ...]:
        return tuple(value for value, _ in self.cells.most_common(MOST_SHOWN))

    @property
    def suffix_units(self) -> set[str]:
        """The units that the cells carry, by their names in the contract."""
        return {unit_words()[suffix] for suffix in self.suffixes}

    @property
    def is_row_number(self) -> bool:
        return self.is_counter and plain(self.header) in row_number_words()

    @property
    def date_share(self) -> float:
        return self.dates.any_share if self.dates else 0.0


def profile_sheet(sheet: Sheet, dates: dict[str, DateReading] | None = None) -> dict[str, Profile]:
    """Profiles by header; columns without a name or with one that stands twice have none. `dates` are readings already made."""
    counts = {
        header: Counter(row[number] for row in sheet.rows if row[number])
        for number, header in enumerate(sheet.headers)
        if header and sheet.headers.count(header) == 1
    }
    nulls = {header: Counter({cell: n for cell, n in cells.items() if is_null_word(cell)}) for header, cells in counts.items()}
    kept = {header: cells - nulls[header] for header, cells in counts.items()}
    if dates is None:
        dates = settle_orders(read_dates({header: cells for header, cells in kept.items() if cells}))
    return {
        header: _make_profile(header, cells, nulls[header], dates.get(header), sheet, _is_counter(sheet, header))
        for header, cells in kept.items()
    }


def _is_counter(sheet: Sheet, header: str) -> bool:
    """Whole numbers that go up by one from row to row, here and there from the start again."""
    place = sheet.headers.index(header)
    cells = [row[place] for row in sheet.rows if row[place]]
    if len(cells) < 3 or len(cells) < 0.9 * len(sheet.rows) or not all(re.fullmatch(r"\d{1,6}\.?", cell) for cell in cells):
        return False
    numbers = [int(cell.rstrip(".")) for cell in cells]
    steps = sum(after == before + 1 for before, after in zip(numbers, numbers[1:], strict=False))
    return numbers[0] <= 1 and steps >= 0.8 * (len(numbers) - 1)


def is_null_word(cell: str) -> bool:
    return cell.lower() in read_data("marks.toml")["null_words"]


def _make_profile(
    header: str, cells: Counter[str], nulls: Counter[str], dates: DateReading | None, sheet: Sheet, is_counter: bool
) -> Profile:
    total = sum(cells.values()) or 1
    bare, unit = split_unit(header)
    suffixes: Counter[str] = Counter()
    for cell, count in cells.items():
        found = WITH_UNIT.fullmatch(cell)
        if found and found[1].lower() in unit_words():
            suffixes[found[1].lower()] += count
    return Profile(
        header=header,
        bare=bare,
        unit=unit or dict(sheet.units).get(header),
        cells=cells,
        nulls=nulls,
        number_share=sum(count for cell, count in cells.items() if NUMBER.fullmatch(cell)) / total,
        imo_share=sum(count for cell, count in cells.items() if is_imo_number(cell)) / total,
        digit_share=sum(count for cell, count in cells.items() if any(char.isdigit() for char in cell)) / total,
        suffixes=suffixes if sum(suffixes.values()) >= MOSTLY * total else Counter(),
        is_counter=is_counter,
        dates=dates,
    )


@cache
def row_number_words() -> frozenset[str]:
    return frozenset(map(plain, read_data("marks.toml")["row_numbers"]))


def split_unit(header: str) -> tuple[str, str | None]:
    """A header without the unit that it states, in brackets or at its end, and that unit."""
    for found in re.finditer(r"[\(\[\{]([^)\]\}]*)[\)\]\}]", header):
        words = [found[1].strip().lower(), *re.split(r"[\s,;]+", found[1].strip().lower())]
        name = next((unit_words()[word] for word in words if word in unit_words()), None)
        if name:
            return (header[: found.start()] + " " + header[found.end() :]).strip(), name
    found = re.fullmatch(r"(.*[^\s_,/:.-])[\s_,/:.-]+([^\s_,/:]+?)\.?", header.strip())
    if found and found[2].lower() in unit_words():
        return found[1], unit_words()[found[2].lower()]
    return header, None


def is_imo_number(cell: str) -> bool:
    """An IMO number, with or without the letters before it."""
    return imo_number.is_imo_number(cell.upper().removeprefix("IMO").strip())


def word_share(profile: Profile, column: Column, least: float = 0.75) -> tuple[float, int]:
    """Share of cells that are words of a column (as sure as `least`), and how many of its canonical words occur."""
    listed = profile.cells.most_common(MOST_WORDS)
    known = {value: target for value, _ in listed for target, score in [match_column(column, value)] if score >= least}
    total = profile.filled
    return (sum(profile.cells[value] for value in known) / total if total else 0.0), len(set(known.values()))
