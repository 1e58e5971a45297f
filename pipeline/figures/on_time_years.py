"""What fell due in twelve months and was done in time, by vessel and duty: limits that allow for what is late together, and the funnel.

In: due_call, what stands or falls together. Out: rows of figure.on_time_year.
"""

from __future__ import annotations

from collections import defaultdict
from datetime import date
from itertools import groupby
from typing import NamedTuple

import duckdb
import numpy as np

from pipeline.figures.on_time_funnel import Place, compare_years, place_vessels
from pipeline.figures.statistics.design_effect import CommonEffect, hold_share, pool_design_effect, pool_lasting_effect
from pipeline.figures.statistics.display import judge_display
from pipeline.figures.statistics.proportions import ClusteredShare, korn_graubard, wilson_limits

FLEET, YEAR = "*", 12  # months
NOW, BEFORE = "last 12 months", "the 12 before"
Counts = tuple[np.ndarray, np.ndarray]


class Twelve(NamedTuple):
    """Twelve months by their last days, and what was counted in them: by vessel and duty, call by call."""

    period: str
    span: list[date]
    counts: dict[tuple[str, str], Counts]


class Year(NamedTuple):
    """Twelve months: shares by vessel and duty; the design effect of each duty among vessels, and that of a course over time."""

    period: str
    from_on: date
    to_on: date
    shares: dict[tuple[str, str], ClusteredShare]
    effects: dict[str, CommonEffect | None]
    lasting: dict[str, CommonEffect | None]


def read_counts(con: duckdb.DuckDBPyConnection, from_on: date, to_on: date) -> dict[tuple[str, str], Counts]:
    """By vessel and duty, the fleet too: what was done in time and fell due (m,), call by call, in order of time."""
    called = "from due_call where month_end between $from_on and $to_on group by duty, imo_number"
    span = {"from_on": from_on, "to_on": to_on}
    names = con.execute(f"select duty, imo_number, count(distinct call_on) {called} order by 1, 2", span).fetchall()
    found = con.execute(
        f"""select sum(done_in_time)::bigint as done, sum(fell_due)::bigint as due, min(month_end) as month, call_on {called}, call_on
        order by duty, imo_number, month, call_on""", span,
    ).fetchnumpy()  # fmt: skip
    done, due = (np.asarray(found[name], float) for name in ("done", "due"))
    month, call_on = (np.asarray(found[name], "datetime64[D]") for name in ("month", "call_on"))
    ends, counts = np.cumsum([row[2] for row in names]).tolist(), {}
    for duty, mine in groupby(zip(names, ends, strict=True), key=lambda one: one[0][0]):
        vessels = [(imo, slice(end - calls, end)) for (_, imo, calls), end in mine]
        counts |= {(imo, duty): (done[own], due[own]) for imo, own in vessels}
        part = slice(vessels[0][1].start, vessels[-1][1].stop)
        number = np.repeat(np.arange(len(vessels)), [own.stop - own.start for _, own in vessels])
        order = np.lexsort((call_on[part], number, month[part]))
        counts[FLEET, duty] = done[part][order], due[part][order]
    return dict(sorted(counts.items(), key=lambda pair: pair[0]))


def read_twelves(con: duckdb.DuckDBPyConnection, ends: list[date]) -> list[Twelve]:
    """The last twelve months and, where the records reach back so far, the twelve before. ends: the last day of each month."""
    spans = [(NOW, ends[-YEAR:])] + [(BEFORE, ends[-2 * YEAR : -YEAR])] * (len(ends) >= 2 * YEAR)
    return [Twelve(period, span, read_counts(con, span[0], span[-1])) for period, span in spans]


def measure_year(twelve: Twelve) -> Year:
    """Shares over vessel and call, of each vessel and of the fleet."""
    period, span, counts = twelve
    of_duty = defaultdict(list)
    for (imo, duty), pair in counts.items():
        if imo != FLEET:
            of_duty[duty].append(pair)
    effects = {duty: pool_design_effect(of_duty[duty]) for duty in sorted(of_duty)}
    # a vessel late for months on end is what the funnel looks for; limits and changes must not take it for many months' worth
    lasting = {duty: pool_lasting_effect(of_duty[duty], effects[duty]) for duty in effects}
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


def compare_twelves(twelves: list[Twelve]) -> list[tuple]:
    """Rows of figure.on_time_year: each vessel and the fleet, by duty, in the last twelve months and in those before."""
    now, before = [*map(measure_year, twelves), None][:2]
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
    return rows
