"""Marks, units, words and dates of the columns found: what the cells settle and what they leave open."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable

from pipeline import contract
from pipeline.contract import Column
from pipeline.learn.dates import DateReading
from pipeline.learn.foot import unit_words
from pipeline.learn.plan import Choice, WordPlan
from pipeline.learn.profile import NUMBER, THOUSANDS, Profile
from pipeline.learn.vocabulary import WORD_SURE, match_column, plain

MOST_STRAY = 0.02
MOST_LISTED = 150
LONGEST_LINE = 60
PLAIN_WORDS = ("in", "at", "gr", "lit", "min", "ratio")  # units that are words of other meaning in a title
NONE: Counter[str] = Counter()


def settle_marks(columns: Iterable[Counter[str]]) -> tuple[Choice, Choice, str]:
    """Decimal and thousands mark of all number cells together, and why; unsure where '1.234' could be either."""
    decimal, thousands, open_marks = Counter(), Counter(), Counter()
    for cells in columns:
        for cell, count in cells.items():
            cell = _without_unit(cell)
            if NUMBER.fullmatch(cell):
                _vote(cell, count, decimal, thousands, open_marks)
    mark, is_sure, why = _choose_decimal(decimal, thousands, open_marks)
    open_thousands = {m: n for m, n in open_marks.items() if m != mark}
    found = Counter(open_thousands) + Counter({m: n for m, n in thousands.items() if m != mark})
    group = found.most_common(1)[0][0] if found else ""
    return Choice(mark, is_sure), Choice(group, is_sure), why


def find_other_thousands(decimal: Choice, columns: Iterable[Counter[str]]) -> tuple[Choice, str]:
    """A thousands mark that only columns without a place show, to be confirmed: they may be given one by hand."""
    sign = {".": ",", ",": "."}[decimal.text or "."]
    for cells in columns:
        for cell in cells:
            if re.fullmatch(rf"[+-]?[1-9]\d{{0,2}}(?:{re.escape(sign)}\d{{3}})+", cell):
                return Choice(sign, False), f"only in a column that is not read so far: {cell!r} could be thousands"
    return Choice("", decimal.is_sure), ""


def _without_unit(cell: str) -> str:
    found = re.fullmatch(r"(.*\d)\s*\D{1,8}", cell)
    return found[1] if found else cell


def _vote(cell: str, count: int, decimal: Counter, thousands: Counter, open_marks: Counter) -> None:
    """What one number says of the marks."""
    signs = re.findall(rf"[.,{THOUSANDS}]", cell)
    if not signs:
        return
    head, _, tail = cell.lstrip("+-").rpartition(signs[-1])
    if len(set(signs)) > 1 or signs[-1] in THOUSANDS:
        thousands[signs[0]] += count
        if signs[-1] != signs[0]:
            decimal[signs[-1]] += count
    elif len(signs) > 1:
        thousands[signs[0]] += count
    elif len(tail) != 3 or len(head) > 3 or head in ("", "0"):
        decimal[signs[0]] += count
    else:
        open_marks[signs[0]] += count


def _choose_decimal(decimal: Counter, thousands: Counter, open_marks: Counter) -> tuple[str, bool, str]:
    other = {".": ",", ",": "."}
    if decimal:
        mark, count = decimal.most_common(1)[0]
        against = sum(decimal.values()) - count
        is_sure = against <= MOST_STRAY * sum(decimal.values())
        return mark, is_sure, f"{count:,} cells have it as decimal mark" + (f", {against:,} the other" if against else "")
    grouped = next((mark for mark in thousands if mark in other), None)
    if grouped:
        return other[grouped], True, f"{grouped!r} parts thousands"
    if open_marks:
        mark = open_marks.most_common(1)[0][0]
        why = f"numbers such as 1{mark}234 could be thousands or decimals: if {mark!r} parts thousands, write "
        return mark, False, f'{why}decimal_mark = "{other[mark]}" and thousands_mark = "{mark}"'
    return ".", True, "no number has a mark"


def settle_unit(column: Column, profile: Profile, head_lines: tuple[str, ...] = ()) -> tuple[Choice | None, tuple[str, ...]]:
    """The unit the header states; where it states none, a proposal to be confirmed: the one named above the table, or a guess."""
    if column.unit is None:
        return None, ()
    known = contract.conversions(column.unit)
    if settle_suffixes(column, profile):
        return None, ()
    if profile.unit in known:
        return (None if profile.unit == column.unit else Choice(profile.unit)), ()
    if plain(profile.header) == plain(column.name) or column.unit == "pct" and "%" in profile.header:
        return None, ()
    above = _units_above(column, head_lines)
    if len(above) == 1:
        unit, line = above.popitem()
        return Choice(unit, False), (f"the header states no unit; above the table stands {show_line(line)}",)
    return Choice(_likely_unit(column, profile), False), ("the header states no unit",)


def _units_above(column: Column, head_lines: tuple[str, ...]) -> dict[str, str]:
    """Units of a column's kind that lines above the table name, each with its line. A lone letter or 'in' may be any word."""
    known = contract.conversions(column.unit)
    found: dict[str, str] = {}
    for line in head_lines:
        for word in re.split(r"[\s,;:|()\[\]\"]+", line.lower()):
            word = word.rstrip(".")
            unit = unit_words().get(word)
            if unit in known and len(word) > 1 and word not in PLAIN_WORDS:
                found.setdefault(unit, line)
    return found


def show_line(line: str) -> str:
    """A line above the table as a reason: the end of a long one, where units tend to stand."""
    text = line.strip(" ,;|\t")
    return f"'{text if len(text) <= LONGEST_LINE else '…' + text[1 - LONGEST_LINE :]}'"


def settle_suffixes(column: Column, profile: Profile) -> tuple[tuple[str, str], ...]:
    """The units that the cells carry and that the column can be read in."""
    known = contract.conversions(column.unit) if column.unit else {}
    return tuple((suffix, unit_words()[suffix]) for suffix in profile.suffixes if unit_words()[suffix] in known)


def _likely_unit(column: Column, profile: Profile) -> str:
    """The contract's own unit if the cells are possible in it, else the first in which they are."""
    numbers = [float(cell.replace(",", ".")) for cell in profile.cells if re.fullmatch(r"\d+(?:[.,]\d+)?", cell)]
    if column.unit == "pct" and numbers and max(numbers) <= 1:
        return "fraction"
    for unit, (factor, minus) in contract.conversions(column.unit).items():
        fitting = sum(column.low <= (number - minus) * factor <= column.high for number in numbers)
        if fitting >= 0.98 * len(numbers):
            return unit
    return column.unit


def settle_words(
    column: Column, cells: Counter[str], elsewhere: Counter[str] = NONE
) -> tuple[tuple[WordPlan, ...], tuple[str, ...]]:
    """A proposal for each word of the source that is not the contract's own. `elsewhere` are the words that the column has in
    records of another table: those with one clear meaning here may come here too."""
    if column.type not in ("word", "boolean"):
        return (), ()
    own = ("true", "false") if column.type == "boolean" else column.words
    merged: Counter[str] = Counter()
    first: dict[str, str] = {}
    for cell, count in cells.most_common():
        if cell.lower() not in {word.lower() for word in own}:
            merged[first.setdefault(cell.lower(), cell)] += count
    planned = []
    for word, count in merged.most_common(MOST_LISTED):
        target, score = match_column(column, word)
        planned.append(WordPlan(word, target, score, count, target is not None and score >= WORD_SURE))
    known = {word.lower() for word in (*merged, *own, *cells)}
    for word in elsewhere if len(merged) < MOST_LISTED else ():
        target, score = match_column(column, word)
        if word.lower() not in known and target and score >= WORD_SURE:
            planned.append(WordPlan(word, target, score, 0, True))
            known.add(word.lower())
    more = len(merged) - sum(plan.count > 0 for plan in planned)
    notes = (f"{more:,} more words stand there than are listed: is it really a column of words?",) if more else ()
    return tuple(planned), notes


def settle_dates(readings: list[DateReading]) -> tuple[tuple[Choice, ...], str]:
    """The forms of most date columns, for the whole file; a question as long as one of them leaves its order open."""
    waiting = [reading for reading in readings if reading.formats and not reading.is_ordered]
    if waiting:
        asked = dict(describe_dates(reading) for reading in waiting)
        forms = dict.fromkeys(form for forms in asked for form in forms)
        many = "; a column that is written otherwise takes formats of its own" if len(waiting) > 1 else ""
        return tuple(forms), "; and ".join(dict.fromkeys(asked.values())) + many
    counts = Counter(describe_dates(reading)[0] for reading in readings if reading.formats)
    if not counts:
        return (), ""
    best = counts.most_common(1)[0][0]
    why = next(describe_dates(reading)[1] for reading in readings if describe_dates(reading)[0] == best)
    return best, why


def describe_dates(reading: DateReading) -> tuple[tuple[Choice, ...], str]:
    """The day forms of one column as choices, and what is to be said about them."""
    if not reading.is_ordered:
        asked = Choice(None, False, reading.formats[0])
        return (asked, *(Choice(form) for form in reading.formats[1:])), _describe_doubt(reading)
    why = "short years: 00-68 read as 2000-2068, 69-99 as 1969-1999" if reading.has_short_year else ""
    why += "" if reading.is_year_sure or not why else "; confirm"
    return tuple(Choice(form, "%y" not in form or reading.is_year_sure) for form in reading.formats), why


def _describe_doubt(reading: DateReading) -> str:
    """What could change places, and each way to write the first form."""
    forms = [reading.formats[0]]
    forms += [] if reading.tells_month else [reading.swapped[0]]
    forms += [reading.year_swapped[0]] if reading.is_year_open else []
    what = "both day first and month first are there" if reading.day_first else "day and month could change places in every cell"
    if reading.is_year_open:
        what = "day and year could change places" if reading.tells_month else "day, month and year could change places"
    return f"{what}: write " + " or ".join(f'"{form}"' for form in forms)
