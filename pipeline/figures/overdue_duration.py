"""How long items stay overdue. In: figure.due_service and call_day. Out: the rows of figure.overdue_duration.

Items of one vessel's call end together, as one visit does them: limits take these (of the fleet: its vessels, where there are
three or more) as what varies.
"""

from __future__ import annotations

from datetime import date
from itertools import pairwise

import duckdb
import numpy as np
from scipy import stats

from pipeline.figures.insert import insert_rows
from pipeline.figures.statistics.lifetimes import find_quantile, kaplan_meier, limit_quantile, measure_cluster_error
from pipeline.figures.statistics.proportions import LEAST_CLUSTERS

FLEET = "*"
SHARES = (0.5, 0.9)
LEAST_ITEMS = 10


def describe_items(days: np.ndarray, is_done: np.ndarray, is_open: np.ndarray, cluster: np.ndarray) -> tuple:
    """Columns from `items` on, of items (n,) that waited so many days."""
    clusters = len(np.unique(cluster))
    counted = len(days), int(is_open.sum()), int((~is_done & ~is_open).sum()), clusters
    if len(days) < LEAST_ITEMS:
        return (*counted, *(None,) * 6, f"{len(days)} {'item' if len(days) == 1 else 'items'}; {LEAST_ITEMS} are needed")
    curve = kaplan_meier(None, days, is_done)
    found = [find_quantile(curve, share) for share in SHARES]
    why = [
        f"less than {100 * share:.0f} % of the items have been seen to end"
        for share, at in zip(SHARES, found, strict=True)
        if at is None
    ]
    if clusters < LEAST_CLUSTERS or not len(curve.time):
        limits = [(None, None)] * 2
        why = why or [f"limits need {LEAST_CLUSTERS} groups of items that end together"]
    else:
        # few clusters tell little of how much they vary: Student's quantile in the place of the normal one
        few = stats.t.ppf(0.975, clusters - 1) / stats.norm.ppf(0.975)
        error = few * measure_cluster_error(curve, None, days, is_done, cluster)
        limits = [limit_quantile(curve, error, share) for share in SHARES]
    return (*counted, found[0], *limits[0], found[1], *limits[1], "; ".join(why[:1]) or None)


def fill(con: duckdb.DuckDBPyConnection, as_of: date) -> None:
    """One row for each vessel and duty, the fleet and any duty."""
    found = con.execute("""
        select duty, imo_number, dense_rank() over (order by imo_number) as vessel_no, call_no, days, is_done, is_open
        from overdue_item order by all""").fetchnumpy()
    for table in ("overdue_item", "call_day"):
        con.execute(f"drop table {table}")
    vessel, call, days = (np.asarray(found[name], np.int64) for name in ("vessel_no", "call_no", "days"))
    is_done, is_open = (np.asarray(found[name], bool) for name in ("is_done", "is_open"))
    visit = vessel * 100_000 + call
    rows = []
    # in order of duty and vessel, so that each is one slice
    for duty, part in slice_runs(found["duty"]):
        vessels = slice_runs(found["imo_number"][part], part.start)
        cluster = vessel if len(vessels) >= LEAST_CLUSTERS else visit
        rows.append((FLEET, duty, *describe_items(days[part], is_done[part], is_open[part], cluster[part])))
        rows += [(imo, duty, *describe_items(days[own], is_done[own], is_open[own], visit[own])) for imo, own in vessels]
    insert_rows(con, "figure.overdue_duration", rows)


def slice_runs(names: np.ndarray, start: int = 0) -> list[tuple[str, slice]]:
    """The stretches of equal names, in order; `start` is where the first stands in the whole."""
    if not len(names):
        return []
    edges = [0, *(np.flatnonzero(names[1:] != names[:-1]) + 1).tolist(), len(names)]
    return [(str(names[a]), slice(start + a, start + b)) for a, b in pairwise(edges)]
