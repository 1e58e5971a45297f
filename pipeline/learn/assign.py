"""Which tables a file feeds and which header goes to which column. In: profiles and scores. Out: an `Assignment`.

One header goes to one column, by the best total (scipy's assignment); only what all rows of a file share – the unit, the
vessel, the day of the event – may go to several tables.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import linear_sum_assignment

from pipeline import contract
from pipeline.learn.score import LEAST, SURE, Fit, Slot
from pipeline.learn.vocabulary import EVENT_DATES, read_data

SHARED = ("unit_id", "imo_number")
MARGIN = 0.04
LEAST_GAIN = 0.45


@dataclass(frozen=True)
class Match:
    """A header for a column. `rival` is another column it fits as well, which has no better header."""

    header: str
    score: float
    why: str
    rival: str = ""

    @property
    def is_sure(self) -> bool:
        return self.score >= SURE and not self.rival


@dataclass(frozen=True)
class Assignment:
    """The tables and, for each of their columns that has one, the header. `is_sure` False: no table is fully told."""

    tables: tuple[str, ...]
    matches: dict[Slot, Match]
    is_sure: bool


def assign_headers(scores: dict[Slot, dict[str, Fit]], wide_finding: bool) -> Assignment:
    """Take the table that explains most, then each further one that explains what is left."""
    ranked = sorted(contract.tables(), key=lambda name: -_explain(_assign((name,), scores)))
    told = [name for name in ranked if _is_told(name, _assign((name,), scores))]
    if not told:
        return Assignment((ranked[0],), _assign((ranked[0],), scores), False)
    chosen = (told[0],)
    for name in told[1:]:
        before, after = _assign(chosen, scores), _assign((*chosen, name), scores)
        if not _says_what_was_done(name, after):
            continue
        if all(_is_told(table, after) for table in (*chosen, name)) and _explain(after) - _explain(before) >= LEAST_GAIN:
            chosen = (*chosen, name)
    if wide_finding and "finding" not in chosen:
        chosen = (*chosen, "finding")
    return Assignment(chosen, _note_rivals(_assign(chosen, scores), scores), True)


def _explain(matches: dict[Slot, Match]) -> float:
    """How much a set of matches tells; a column that many tables have tells little about the table."""
    holders = [column for table in contract.tables().values() for column in table.column_names]
    total, seen = 0.0, set()
    for (_, column), match in matches.items():
        if match.header not in seen:
            total += match.score / holders.count(column)
            seen.add(match.header)
    return total


def _is_told(table: str, matches: dict[Slot, Match]) -> bool:
    """Whether the headers tell what a row of the table must have."""
    wanted = read_data("marks.toml")["tables"][table]
    has = {column for name, column in matches if name == table}
    own = {match.header for (name, column), match in matches.items() if name == table and column in wanted["some_of"]}
    return (
        all(column in has for column in wanted["needs"])
        and len(own) >= wanted["some_of_count"]
        and not has & set(wanted.get("never_with", ()))
        and not any(column in wanted.get("never_with", ()) and match.score >= SURE for (_, column), match in matches.items())
    )


def _says_what_was_done(table: str, matches: dict[Slot, Match]) -> bool:
    """A weight beside a check is no service unless the file says what was done; a remark is no check unless it says how it
    went, or when if that is another day."""
    if table == "service":
        return (table, "kind") in matches
    if table == "inspection":
        day = matches.get((table, "inspected_on"))
        others = {match.header for (name, column), match in matches.items() if name != table and column in EVENT_DATES}
        return (table, "outcome") in matches or (day is not None and day.header not in others)
    return True


def _assign(tables: tuple[str, ...], scores: dict[Slot, dict[str, Fit]]) -> dict[Slot, Match]:
    """The best one-to-one assignment over all columns of the tables, shared columns once."""
    slots: dict[str | Slot, list[Slot]] = {}
    for table in tables:
        for column in contract.tables()[table].column_names:
            # Of two columns of one name (an outcome of a check and of a service) each may have its own header.
            slots.setdefault(column if column in SHARED else (table, column), []).append((table, column))
    headers = sorted({header for group in slots.values() for header in scores[group[0]]})
    if not headers:
        return {}
    worth = np.zeros((len(slots), len(headers)))
    for row, group in enumerate(slots.values()):
        for header, fit in scores[group[0]].items():
            worth[row, headers.index(header)] = fit.score
    found: dict[Slot, Match] = {}
    groups = list(slots.values())
    for row, place in zip(*linear_sum_assignment(worth, maximize=True), strict=True):
        if worth[row, place] >= LEAST:
            fit = scores[groups[row][0]][headers[place]]
            found |= {slot: Match(headers[place], fit.score, fit.why) for slot in groups[row]}
    return _share_day(tables, found, scores)


def _share_day(tables: tuple[str, ...], found: dict[Slot, Match], scores: dict[Slot, dict[str, Fit]]) -> dict[Slot, Match]:
    """Where a file has one day for all its rows, each event table takes it."""
    days = [(table, column) for table in tables for column in EVENT_DATES if column in contract.tables()[table].column_names]
    given = [found[slot] for slot in days if slot in found]
    if not given:
        return found
    best = max(given, key=lambda match: match.score)
    for slot in days:
        own = found.get(slot)
        if own is None or (own.score < 0.6 and best.score > own.score):
            found[slot] = Match(best.header, max(scores[slot].get(best.header, Fit(0, "")).score, best.score), best.why)
    return found


def _note_rivals(matches: dict[Slot, Match], scores: dict[Slot, dict[str, Fit]]) -> dict[Slot, Match]:
    """Mark a header that fits another, still empty column of the table as well as its own."""
    noted = {}
    for (table, column), match in matches.items():
        rivals = [
            other
            for (name, other), fits in scores.items()
            if name == table and (table, other) not in matches and match.header in fits
            and fits[match.header].score >= match.score - MARGIN
        ]  # fmt: skip
        noted[table, column] = Match(match.header, match.score, match.why, rivals[0] if rivals else "")
    return noted
