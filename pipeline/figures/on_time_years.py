"""What fell due in twelve months and was done in time, by vessel and duty: limits that allow for what is late together, and the funnel.

In: due_call, what stands or falls together. Out: the rows of figure.on_time_year.
"""

from __future__ import annotations

from collections import defaultdict
from datetime import date
from typing import NamedTuple

import duckdb

from pipeline.figures.insert import insert_rows
from pipeline.figures.on_time_funnel import Place, compare_years, place_vessels
from pipeline.figures.statistics.design_effect import CommonEffect, hold_share, pool_design_effect, pool_lasting_effect
from pipeline.figures.statistics.display import judge_display
from pipeline.figures.statistics.proportions import ClusteredShare, korn_graubard, wilson_limits

FLEET, YEAR = "*", 12  # months
NOW, BEFORE = "last 12 months", "the 12 before"


class Call(NamedTuple):
    """One row of due_call: what of a call fell due in one month."""

    month_end: date
    imo_number: str
    duty: str
    call_on: date
    fell_due: int
    done_in_time: int


class Year(NamedTuple):
    """Twelve months: shares by vessel and duty; the design effect of each duty among vessels, and that of a course over time."""

    period: str
    from_on: date
    to_on: date
    shares: dict[tuple[str, str], ClusteredShare]
    effects: dict[str, CommonEffect | None]
    lasting: dict[str, CommonEffect | None]


def measure_year(period: str, span: list[date], calls: list[Call]) -> Year:
    """Shares over vessel and call, of each vessel and of the fleet."""
    cells: dict[tuple[str, str], dict[tuple, list[int]]] = defaultdict(lambda: defaultdict(lambda: [0, 0]))
    for row in calls:
        if span[0] <= row.month_end <= span[-1]:
            for imo in (row.imo_number, FLEET):
                cell = cells[imo, row.duty][row.imo_number, row.call_on]
                cell[0] += row.done_in_time
                cell[1] += row.fell_due
    counts = {key: tuple(zip(*cells[key].values(), strict=True)) for key in sorted(cells)}
    of_duty = defaultdict(list)
    for (imo, duty), pair in counts.items():
        if imo != FLEET:
            of_duty[duty].append(pair)
    effects = {duty: pool_design_effect(of_duty[duty]) for duty in sorted(of_duty)}
    # a vessel late for months on end is what the funnel looks for; limits and changes must not take it for many months' worth
    lasting = {duty: pool_lasting_effect(of_duty[duty]) for duty in effects}
    shares = {key: hold_share(korn_graubard(*counts[key]), lasting[key[1]]) for key in counts}
    return Year(period, span[0].replace(day=1), span[-1], shares, effects, lasting)


def write_year(
    year: Year, key: tuple[str, str], share: ClusteredShare, place: Place, change: tuple
) -> tuple:  # fmt: skip
    """One row of figure.on_time_year."""
    shown, why = judge_display(share)
    naive = wilson_limits(share.done, share.due) if share.due else (None, None)
    reason = (why, None) if shown != "rate" else (None, why)
    return (
        year.period, year.from_on, year.to_on, *key, share.due, share.done, share.share, share.low, share.high, share.clusters, share.effective, *naive,
        shown, *reason, *place, *change,
    )  # fmt: skip


def fill_years(con: duckdb.DuckDBPyConnection, calls: list[Call], ends: list[date]) -> None:
    """Each vessel and the fleet, by duty: the last twelve months and, where the records reach back so far, the twelve before."""
    now = measure_year(NOW, ends[-YEAR:], calls)
    before = measure_year(BEFORE, ends[-2 * YEAR : -YEAR], calls) if len(ends) >= 2 * YEAR else None
    rows = []
    for year in filter(None, (now, before)):
        places = {}
        for duty, effect in year.effects.items():
            vessels = {imo: share for (imo, of_duty), share in year.shares.items() if of_duty == duty and imo != FLEET}
            found = place_vessels(year.shares[FLEET, duty].share, vessels, effect)
            places |= {(imo, duty): place for imo, place in found.items()}
        for key, share in year.shares.items():
            change: tuple = (None,) * 4
            if year is now:
                past = (before.shares.get(key), before.lasting.get(key[1])) if before else (None, None)
                change = compare_years(share, now.lasting[key[1]], *past)
            rows.append(write_year(year, key, share, places[key], change))
    insert_rows(con, "figure.on_time_year", rows)
