"""Invented vessels that don't differ, whose calls fall due over the turn of a month: what is late together lies in two of them.

In: a generator and the shape of the calendar. Out: of each fleet and year, counts by call as the figures find them, or by calendar month.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from typing import NamedTuple

import numpy as np

from tests.statistics.due_calls import Counts, group_calls

MISSED, BEFORE_TURN, AFTER_TURN = 0.03, 14, 13  # share of units; days about the turn of the month


class Calls(NamedTuple):
    """Calls a year, units due at each, the chance that a whole call is late, the share of its units that fall due after the month's end."""

    visits: int
    units: int
    late: float
    split: float

    @property
    def truth(self) -> float:
        """The share in time in the long run."""
        return (1 - self.late) * (1 - MISSED)


def draw_services(chance: np.random.Generator, calls: Calls) -> Iterator[tuple[date, bool]]:
    """A year of one vessel: each service's due date, and whether it was done in time."""
    after = round(calls.units * calls.split)
    for visit in range(calls.visits):
        turn = date(2025, 1 + visit * 12 // calls.visits, 28) + timedelta(days=4)
        turn = turn.replace(day=1)
        is_late = chance.random() < calls.late
        days = [*-chance.integers(1, BEFORE_TURN + 1, calls.units - after), *chance.integers(0, AFTER_TURN + 1, after)]
        for day in days:
            yield turn + timedelta(days=int(day)), not is_late and chance.random() >= MISSED


def draw_fleets(calls: Calls, vessels: int, fleets: int, seed: int, by: str = "call_on") -> list[list[list[Counts]]]:
    """Fleets, of two years, of vessels."""
    chance = np.random.default_rng(seed)
    names = [f"{fleet:04d} {year} {vessel:03d}" for fleet in range(fleets) for year in (0, 1) for vessel in range(vessels)]
    found = group_calls(((name, *service) for name in names for service in draw_services(chance, calls)), by=by)
    told = [found[name] for name in names]
    return [[told[(2 * f + y) * vessels : (2 * f + y + 1) * vessels] for y in (0, 1)] for f in range(fleets)]
