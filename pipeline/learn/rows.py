"""Which records tell which table. In: the rows and the assignment. Out: `when` for each table."""

from __future__ import annotations

from collections import Counter

from pipeline.learn.assign import Assignment
from pipeline.learn.plan import Choice
from pipeline.learn.profile import Profile, is_null_word
from pipeline.learn.sheet import Sheet

MOST_KINDS = 30
PURE = 0.9
RARE = 0.01
SELDOM = 0.002
When = tuple[str, tuple[Choice, ...]]


def find_when(sheet: Sheet, assignment: Assignment, profiles: dict[str, Profile], wide: dict[str, str]) -> dict[str, When]:
    """Which words of which column make a record a row of each table; a table without an entry takes every record."""
    if "finding" not in assignment.tables or len(assignment.tables) < 2 or wide:
        return {}
    main = next(table for table in assignment.tables if table != "finding")
    told = {"finding": _told_rows(sheet, assignment, "finding"), main: _told_rows(sheet, assignment, main)}
    used = {match.header for match in assignment.matches.values()}
    kinds = [h for h in profiles if 2 <= len(profiles[h].cells) <= MOST_KINDS and profiles[h].filled >= 0.98 * len(sheet.rows)]
    for header in sorted(kinds, key=lambda h: (h in used, len(profiles[h].cells))):
        found = _split_by(sheet, header, told["finding"], _told_rows(sheet, assignment, main, header))
        if found:
            return {main: (header, found[0]), "finding": (header, found[1])}
    if all(told["finding"]):
        return {}
    return {"finding": _when_found(sheet, assignment, profiles, told["finding"], used)}


def _told_rows(sheet: Sheet, assignment: Assignment, table: str, but: str = "") -> list[bool]:
    """Per row whether a column that only this table has says something."""
    others = {match.header for (name, _), match in assignment.matches.items() if name != table}
    own = {match.header for (name, _), match in assignment.matches.items() if name == table} - others - {but}
    if table == "finding":
        own = {
            assignment.matches[slot].header
            for slot in (("finding", "component"), ("finding", "defect"))
            if slot in assignment.matches
        }
    places = [sheet.headers.index(header) for header in own]
    return [any(row[place] and not is_null_word(row[place]) for place in places) for row in sheet.rows]


def _split_by(
    sheet: Sheet, header: str, found: list[bool], main: list[bool]
) -> tuple[tuple[Choice, ...], tuple[Choice, ...]] | None:
    """Words of a column whose records are all of the main table or all findings; None if it doesn't split them so.

    A word that stands there once among many records proves little.
    """
    place = sheet.headers.index(header)
    counts: dict[str, list[int]] = {}
    for row, is_found, is_main in zip(sheet.rows, found, main, strict=True):
        tally = counts.setdefault(row[place].lower(), [0, 0, 0])
        tally[0] += 1
        tally[1] += is_found
        tally[2] += is_main
    words: dict[str, list[str]] = {"main": [], "finding": []}
    counts.pop("", None)
    for word, (count, as_found, as_main) in counts.items():
        if as_found >= PURE * count and as_main <= (1 - PURE) * count:
            words["finding"].append(word)
        elif as_main >= PURE * count and as_found <= (1 - PURE) * count:
            words["main"].append(word)
        elif count > max(1, RARE * len(sheet.rows)):
            return None
    shown = {row[place].lower(): row[place] for row in sheet.rows}
    if not words["main"] or not words["finding"]:
        return None
    few = SELDOM * len(sheet.rows)
    main_words, found_words = (tuple(Choice(shown[w], counts[w][0] >= few) for w in words[name]) for name in ("main", "finding"))
    return main_words, found_words


def _when_found(sheet: Sheet, assignment: Assignment, profiles: dict[str, Profile], found: list[bool], used: set[str]) -> When:
    """The word that goes with a finding on the same record as a look; else the names of the parts themselves."""
    for header, profile in profiles.items():
        if header in used or not 1 <= len(profile.cells) <= MOST_KINDS:
            continue
        place = sheet.headers.index(header)
        with_word: Counter[str] = Counter(row[place].lower() for row, is_found in zip(sheet.rows, found, strict=True) if is_found)
        every: Counter[str] = Counter(row[place].lower() for row in sheet.rows)
        words = [word for word, count in with_word.items() if word and count >= PURE * every[word]]
        if words and sum(with_word[word] for word in words) >= PURE * sum(found):
            shown = {cell.lower(): cell for cell in profile.cells}
            return header, tuple(Choice(shown.get(word, word)) for word in words)
    part = assignment.matches["finding", "component"].header
    return part, tuple(map(Choice, profiles[part].cells))
