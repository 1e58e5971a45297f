"""A log of several kinds of record, told by the column that names the kind. In: a sheet and its profiles. Out: `Kinds`."""

from __future__ import annotations

from dataclasses import dataclass, replace

from pipeline.learn.assign import Assignment, Match
from pipeline.learn.plan import Choice
from pipeline.learn.profile import Profile, profile_sheet
from pipeline.learn.score import Slot, score_all
from pipeline.learn.sheet import Sheet
from pipeline.learn.tables import finish, is_told
from pipeline.learn.vocabulary import WORD_SURE, known_columns, match_word, plain

MOST_KINDS = 30
LEAST_KNOWN = 0.9
LEAST_FILLED = 0.98
When = tuple[str, tuple[Choice, ...]]


@dataclass(frozen=True)
class Kinds:
    """Tables that share a file by the words of one column: who takes which records, and their headers."""

    assignment: Assignment
    whens: dict[str, When]


def find_kinds(sheet: Sheet, profiles: dict[str, Profile]) -> Kinds | None:
    """The first column whose words part the records into two tables or more that are each fully told; None where none does."""
    for header, profile in profiles.items():
        if not 2 <= len(profile.cells) <= MOST_KINDS or profile.filled < LEAST_FILLED * len(sheet.rows):
            continue
        words = _words_by_table(profile)
        known = sum(profile.cells[word] for group in words.values() for word in group)
        if len(words) >= 2 and known >= LEAST_KNOWN * profile.filled:
            found = _part(sheet, header, words, profiles)
            if found:
                return found
    return None


def _words_by_table(profile: Profile) -> dict[str, list[str]]:
    """The words of a column by the table whose records they name; a kind of service names a service."""
    found: dict[str, list[str]] = {}
    for word in profile.cells:
        table, score = match_word("record", word)
        if score < WORD_SURE:
            kind, score = match_word("kind", word)
            table = "service" if kind else None
        if table and score >= WORD_SURE:
            found.setdefault(table, []).append(word)
    return found


def _may_be_empty(profile: Profile) -> bool:
    return not profile.filled or "remarks" in known_columns(plain(profile.header))


def _part(sheet: Sheet, header: str, words: dict[str, list[str]], profiles: dict[str, Profile]) -> Kinds | None:
    matches: dict[Slot, Match] = {}
    place = sheet.headers.index(header)
    for table, own in words.items():
        part = replace(sheet, rows=tuple(row for row in sheet.rows if row[place] in own))
        inner = profile_sheet(part, {name: profile.dates for name, profile in profiles.items() if profile.dates})
        # A column that is empty in these records only is another table's.
        inner = {name: p for name, p in inner.items() if p.filled or (name in profiles and _may_be_empty(profiles[name]))}
        if table != "service":
            inner.pop(header, None)
        scores = score_all(inner)
        found = {slot: match for slot, match in finish((table,), scores, inner).items() if slot[0] == table}
        if not is_told(table, found):
            return None
        matches |= found
    tables = tuple(sorted(words, key=("inspection", "service", "finding").index))
    whens = {table: (header, tuple(map(Choice, words[table]))) for table in tables}
    return Kinds(Assignment(tables, matches, True), whens)
