"""Months by names that are not English. In: the distinct cells of a column. Out: name -> number, and the cells in English."""

from __future__ import annotations

import calendar
import re
from collections import Counter

from pipeline.learn.vocabulary import read_data

SHORT_MONTH = 4
MONTH_WORD = re.compile(r"[^\W\d_]+")


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


def put_in_english(cells: Counter[str], months: dict[str, int]) -> dict[str, int]:
    """The cells as the pipeline will read them: the first word an English short name, without a point."""
    found: Counter[str] = Counter()
    for cell, count in cells.items():
        word = MONTH_WORD.search(cell)
        number = months.get(word[0].lower()) if word else None
        text = cell[: word.start()] + calendar.month_abbr[number] + cell[word.end() :].removeprefix(".") if number else cell
        found[text] += count
    return dict(found)
