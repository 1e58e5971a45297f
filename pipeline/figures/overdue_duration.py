"""How long items stay overdue. In: figure.due_service and call_day. Out: the rows of figure.overdue_duration.

Items of one vessel's call end together, as one visit does them: limits take these (of the fleet: its vessels, where there are
three or more) as what varies.
"""

from __future__ import annotations

from datetime import date
from itertools import groupby

import duckdb
import numpy as np
from scipy import special

from pipeline.figures.apart import Compute, Write, write_each
from pipeline.figures.insert import insert_many
from pipeline.figures.statistics.lifetimes import (
    find_quantile,
    kaplan_meier,
    limit_quantiles,
    measure_cluster_error,
    number_clusters,
)
from pipeline.figures.statistics.proportions import LEAST_CLUSTERS

FLEET = "*"
SHARES = (0.5, 0.9)
LEAST_ITEMS = 10


def describe_items(days: np.ndarray, is_done: np.ndarray, is_open: np.ndarray, cluster: np.ndarray) -> tuple:
    """Columns from `items` on, of items (n,) that waited so many days."""
    clusters, cluster = number_clusters(cluster)
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
        few = special.stdtrit(clusters - 1, 0.975) / special.ndtri(0.975)
        error = few * measure_cluster_error(curve, None, days, is_done, cluster)
        limits = limit_quantiles(curve, error, SHARES)
    return (*counted, found[0], *limits[0], found[1], *limits[1], "; ".join(why[:1]) or None)


def fill(con: duckdb.DuckDBPyConnection, as_of: date) -> Compute:
    """Read the items; what is returned computes figure.overdue_duration."""
    # names once a vessel: as text on each item they would take most of the time
    names = con.execute("select duty, imo_number, count(*) from overdue_item group by all order by all").fetchall()
    found = con.execute(
        "select call_no, days, is_done, is_open from overdue_item order by duty, imo_number, call_no"
    ).fetchnumpy()
    for table in ("overdue_item", "call_day"):
        con.execute(f"drop table {table}")

    def compute() -> Write:
        rows = describe_all(names, found)
        return write_each((insert_many, "figure.overdue_duration", rows))

    return compute


def describe_all(names: list[tuple], found: dict[str, np.ndarray]) -> list[tuple]:
    """One row for each vessel and duty, the fleet and any duty. names: (duty, vessel, items); found: columns (n,) in their order."""
    call, days = (np.asarray(found[name], np.int64) for name in ("call_no", "days"))
    is_done, is_open = (np.asarray(found[name], bool) for name in ("is_done", "is_open"))
    number = {imo: place for place, imo in enumerate(sorted({row[1] for row in names}))}
    vessel = np.repeat([number[row[1]] for row in names], [row[2] for row in names])
    visit = vessel * 100_000 + call
    rows, ends = [], np.cumsum([row[2] for row in names]).tolist()
    owned = [(duty, imo, slice(end - count, end)) for (duty, imo, count), end in zip(names, ends, strict=True)]
    for duty, mine in groupby(owned, key=lambda one: one[0]):
        vessels = [one[1:] for one in mine]
        part = slice(vessels[0][1].start, vessels[-1][1].stop)
        cluster = vessel if len(vessels) >= LEAST_CLUSTERS else visit
        rows.append((FLEET, duty, *describe_items(days[part], is_done[part], is_open[part], cluster[part])))
        rows += [(imo, duty, *describe_items(days[own], is_done[own], is_open[own], visit[own])) for imo, own in vessels]
    return rows
