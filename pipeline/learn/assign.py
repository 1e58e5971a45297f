"""Which tables a file feeds and which header goes to which column. In: profiles and scores. Out: an `Assignment`.

One header goes to one column, by the best total (scipy's assignment); only what all rows of a file share – the unit, the
vessel, the day of the event – may go to several tables. What makes a table is in tables.py.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import linear_sum_assignment

from pipeline import contract
from pipeline.learn.profile import Profile
from pipeline.learn.score import LEAST, SURE, Fit, Slot
from pipeline.learn.vocabulary import EVENT_DATES

SHARED = ("unit_id", "imo_number")
MARGIN = 0.04
# Two columns that are filled by one header's cells, each by those that carry its own unit.
TWINS = {"charge_l": "charge_kg", "charge_kg": "charge_l", "required_charge_l": "required_charge_kg",
         "required_charge_kg": "required_charge_l"}  # fmt: skip


@dataclass(frozen=True)
class Match:
    """A header for a column. `rival` is another column it fits as well, which has no better header; `other` another header
    that fits the column as well and has no better place."""

    header: str
    score: float
    why: str
    named: float = 0.0
    rival: str = ""
    other: str = ""

    @property
    def is_sure(self) -> bool:
        return self.score >= SURE and not self.rival and not self.other


@dataclass(frozen=True)
class Assignment:
    """The tables and, for each of their columns that has one, the header. `is_sure` False: no table is fully told."""

    tables: tuple[str, ...]
    matches: dict[Slot, Match]
    is_sure: bool


def assign_columns(tables: tuple[str, ...], scores: dict[Slot, dict[str, Fit]]) -> dict[Slot, Match]:
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
            found |= {slot: _match(headers[place], scores[groups[row][0]][headers[place]]) for slot in groups[row]}
    return _share_day(tables, found, scores)


def _match(header: str, fit: Fit) -> Match:
    return Match(header, fit.score, fit.why, fit.named)


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
            found[slot] = replace(best, score=max(scores[slot].get(best.header, Fit(0, "")).score, best.score))
    return found


def add_twins(matches: dict[Slot, Match], scores: dict[Slot, dict[str, Fit]], profiles: dict[str, Profile]) -> dict[Slot, Match]:
    """Where cells carry their unit, litres and kilograms of one header go to a column each."""
    found = dict(matches)
    for (table, column), match in matches.items():
        twin = (table, TWINS.get(column, ""))
        if twin in scores and twin not in matches and profiles[match.header].suffixes and match.header in scores[twin]:
            units = set(contract.conversions(contract.tables()[table].column(twin[1]).unit))
            if units & profiles[match.header].suffix_units:
                found[twin] = match
    return found


def note_rivals(matches: dict[Slot, Match], scores: dict[Slot, dict[str, Fit]]) -> dict[Slot, Match]:
    """Mark a header that fits another, still empty column of its table as well, and a column that another header fits as well."""
    taken: dict[str, float] = {}
    for match in matches.values():
        taken[match.header] = max(match.score, taken.get(match.header, 0.0))
    return {slot: replace(match, **_find_rivals(slot, match, matches, taken, scores)) for slot, match in matches.items()}


def _find_rivals(slot: Slot, match: Match, matches: dict[Slot, Match], taken: dict[str, float], scores) -> dict[str, str]:
    table, column = slot
    rivals = [
        other
        for (name, other), fits in scores.items()
        if name == table and (table, other) not in matches and match.header in fits
        and fits[match.header].score >= match.score - MARGIN
    ]  # fmt: skip
    others = [
        header
        for header, fit in scores[slot].items()
        if header != match.header and fit.score >= match.score - MARGIN and fit.score > taken.get(header, 0.0)
    ]
    return {"rival": rivals[0] if rivals else "", "other": others[0] if others else ""}
