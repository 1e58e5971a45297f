"""Rows that fit a sheet of paper: how many lines a text takes in its column, and how many rows a number of lines holds.

In: rows of plain values, and for each column how many letters stand on a line of it (None: it never wraps). Out: rows whose texts take three
lines at most, cut with an ellipsis, and how many of them fit. Widths are guesses on the safe side, for a machine may have other fonts.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from dashboards import words

MOST_LINES = 3  # of a cell
WIDE = {**dict.fromkeys("MWmw@%", 1.7), "…": 1.0}  # of a plain letter's width
PLAIN = "–—−’“”·×²≤≥"  # beyond Latin letters, and no wider


def weigh_letter(letter: str) -> float:
    """How wide a letter may be, in plain letters: capitals somewhat, those of other scripts twice."""
    if letter in WIDE:
        return WIDE[letter]
    if ord(letter) > 0x2FF and letter not in PLAIN:
        return 2.0
    return 1.2 if letter.isupper() else 1.0


def count_letters(text: str, letters: int) -> int:
    """How many letters of this text a line of so many plain letters holds."""
    start = text[: (MOST_LINES + 1) * letters]
    return max(int(letters * len(start) / max(sum(map(weigh_letter, start)), len(start), 1)), 4)


def fit_text(text: str, letters: int) -> tuple[str, int]:
    """The text, cut with an ellipsis where it takes more than three lines, and the lines it takes."""
    plain = text.replace(words.THIN, " ")
    width = count_letters(plain, letters)
    # As browsers do it: a word that no line holds begins a new one, and is broken there.
    wrapped = textwrap.wrap(plain, width, break_on_hyphens=False, break_long_words=False)
    lines = [line[at : at + width] for line in wrapped for at in range(0, len(line), width)]
    if len(lines) <= MOST_LINES:
        return text, max(len(lines), 1)
    return words.cut_name(text, sum(map(len, lines[:MOST_LINES])) + MOST_LINES - 1), MOST_LINES


def fit_row(row: Sequence, letters: Sequence[int | None]) -> tuple[tuple, int]:
    """The row with its texts cut, and the lines it takes."""
    cells, taken = [], 1
    for value, width in zip(row, letters, strict=True):
        if width and isinstance(value, str):
            value, lines = fit_text(value, width)
            taken = max(taken, lines)
        cells.append(value)
    return tuple(cells), taken


def fit_rows(rows: Sequence[Sequence], letters: Sequence[int | None], lines: int) -> tuple[tuple, ...]:
    """As many of the first rows as so many lines hold."""
    kept, left = [], lines
    for row in rows:
        cells, taken = fit_row(row, letters)
        left -= taken
        if left < 0:
            break
        kept.append(cells)
    return tuple(kept)


def count_lines(rows: Sequence[Sequence], letters: Sequence[int | None], most: int) -> int:
    """Lines that the rows take, or `most` where they would take more."""
    total = 0
    for row in rows:
        total += fit_row(row, letters)[1]
        if total >= most:
            return most
    return total
