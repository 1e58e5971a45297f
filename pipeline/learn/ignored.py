"""Headers that go to no column, and which of them are surely not to be read. In: the assignment. Out: plans."""

from __future__ import annotations

from collections import Counter

from pipeline import contract
from pipeline.learn.assign import Assignment
from pipeline.learn.plan import Choice, IgnoredPlan
from pipeline.learn.profile import Profile
from pipeline.learn.score import LEAST, score_fit
from pipeline.learn.sheet import Sheet
from pipeline.learn.vocabulary import known_columns, lengthen, plain

MOST_SHOWN = 4


def list_ignored(sheet: Sheet, profiles: dict[str, Profile], assignment: Assignment, used: set[str]) -> tuple[IgnoredPlan, ...]:
    """Each header without a column; sure where it only counts rows or is empty. What has a home in another table is asked for:
    leaving data out is for a person to decide.
    """
    found = []
    for header in dict.fromkeys(header for header in sheet.headers if header and header not in used):
        profile = profiles.get(header)
        why, is_sure = _why_ignored(profile, assignment) if profile and assignment.is_sure else ("", False)
        # What begins with "?" would look unsettled, so it is.
        choice = Choice(header, is_sure and not header.startswith("?"))
        found.append(IgnoredPlan(choice, why or "no column fits", _list_examples(sheet, header)))
    return tuple(found)


def _list_examples(sheet: Sheet, header: str) -> tuple[str, ...]:
    """The commonest cells under a header, wherever it stands."""
    places = [place for place, name in enumerate(sheet.headers) if name == header]
    cells = Counter(row[place] for row in sheet.rows for place in places if row[place])
    return tuple(cell for cell, _ in cells.most_common(MOST_SHOWN))


def _why_ignored(profile: Profile, assignment: Assignment) -> tuple[str, bool]:
    """Why no column takes it, and whether that is sure."""
    if profile.is_row_number:
        return "it counts the rows", True
    own = {column.name: column for table in assignment.tables for column in contract.tables()[table].columns}
    if not profile.filled:
        return "it is empty", True
    known = known_columns(plain(profile.bare)) | known_columns(lengthen(profile.bare))
    if not known:
        return "", False
    open_here = [name for name in known & own.keys() if score_fit(profile, own[name]).score >= LEAST]
    return "" if open_here else f"{' or '.join(sorted(known)[:2])} is no column of these tables", False
