"""Lines of a list that are no records: its foot, sums, and a line of units under the header. In: lines or cells. Out: marks."""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from functools import cache

from pipeline.learn.vocabulary import read_data

MOST_FOOT = 10


@dataclass(frozen=True)
class TotalMark:
    """Records in which a column is, or begins with, a text."""

    column: str
    text: str
    is_beginning: bool


@cache
def unit_words() -> dict[str, str]:
    """Each way to write a unit -> its name in the contract."""
    return {word: name for name, words in read_data("marks.toml")["units"].items() for word in words}


@cache
def _total_shape() -> re.Pattern[str]:
    words = sorted(read_data("marks.toml")["total_words"], key=len, reverse=True)
    return re.compile(rf"({'|'.join(map(re.escape, words))})(?!\w)[:.]?\s?", re.IGNORECASE)


def find_units(cells: tuple[str, ...], header: tuple[str, ...]) -> dict[str, str]:
    """Header -> unit where every filled cell is the name of a unit; else nothing."""
    bare = [cell.strip("[](){} ").lower() for cell in cells]
    filled = [cell for cell in bare if cell]
    if not filled or any(cell not in unit_words() for cell in filled) or any(cell.isdigit() for cell in filled):
        return {}
    return {name: unit_words()[cell] for name, cell in zip(header, bare, strict=False) if cell}


def find_total(cells: tuple[str, ...], header: tuple[str, ...]) -> TotalMark | None:
    """The mark of a record that a word such as 'total' opens, with little else in it; None for other records."""
    place = next((number for number, cell in enumerate(cells) if cell), None)
    if place is None or sum(map(bool, cells)) > max(2, len(cells) / 2):
        return None
    found = _total_shape().match(cells[place])
    if found is None:
        return None
    is_whole = found.end() >= len(cells[place])
    return TotalMark(header[place], cells[place] if is_whole else found[0].strip(), not is_whole)


def count_foot(lines: list[str], delimiter: str, width: int) -> tuple[int, bool]:
    """Last lines that are no records, and whether their words say so or their shape alone.

    A sum that also stands among the records is no foot: sums are marked by their word.
    """
    rows = [_split_line(line, delimiter) for line in lines if line.strip()]
    count, is_sure = 0, True
    for cells in reversed(rows[-MOST_FOOT:]):
        filled = [cell for cell in cells or () if cell]
        says_so = bool(filled) and _is_foot(filled[0])
        if cells is None or len(filled) > max(2, width // 3):
            break
        if len(cells) == width and (len(filled) > 2 or not (says_so or _is_line_of_words(filled, width))):
            break
        count, is_sure = count + 1, is_sure and (says_so or not filled)
    inner = rows[: len(rows) - count]
    if any(cells and find_total(tuple(cells), tuple(cells)) is not None for cells in inner):
        while count and (last := rows[len(rows) - count]) is not None and len(last) == width:
            count -= 1
    return count, is_sure


def _split_line(line: str, delimiter: str) -> list[str] | None:
    try:
        return [cell.strip() for row in csv.reader([line], delimiter=delimiter, strict=True) for cell in row]
    except csv.Error:
        return None


def _is_foot(text: str) -> bool:
    """Whether a text says that it closes a list."""
    words = text.lower()
    says = read_data("marks.toml")["foot_words"]
    return bool(_total_shape().match(text)) or words.startswith(tuple(says)) or any(w in words for w in says if len(w) > 5)


def _is_line_of_words(filled: list[str], width: int) -> bool:
    """A padded line with one text of several words in it, in a list of many columns."""
    return not filled or (len(filled) == 1 and width > 4 and len(filled[0].split()) > 1)
