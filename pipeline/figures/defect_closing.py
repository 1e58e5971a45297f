"""How long defects last. In: the temporary table of defect_closing.sql. Out: figure.defect_closing, filled."""

from __future__ import annotations

from datetime import date

import duckdb
import numpy as np

from pipeline.figures.statistics.lifetimes import find_quantile, kaplan_meier, limit_quantile, measure_cluster_error

FEWEST, FEWEST_BATCHES = 10, 3


def fill(con: duckdb.DuckDBPyConnection, as_of: date) -> None:
    """Fill figure.defect_closing: all, by severity, by vessel; for each period."""
    found = con.execute("select * from closing_time").fetchnumpy()
    severity, vessel = (found[name].astype(str) for name in ("severity", "imo_number"))
    rows = []
    for period in ("all", "last 12 months"):
        of_period = np.ones(len(severity), bool) if period == "all" else found["is_late"].astype(bool)
        picks = [("*", "*", of_period)]
        picks += [(word, "*", of_period & (severity == word)) for word in sorted(set(severity[of_period]))]
        picks += [("*", imo, of_period & (vessel == imo)) for imo in sorted(set(vessel[of_period]))]
        for word, imo, picked in picks:
            if picked.any():
                times = (np.asarray(found[name])[picked] for name in ("days", "is_closed", "batch"))
                rows.append((period, word, imo, *measure_closing(*times)))
    if rows:
        con.executemany(f"insert into figure.defect_closing values ({', '.join('?' * 14)})", rows)
    con.execute("drop table closing_time")


def measure_closing(days: np.ndarray, is_closed: np.ndarray, batch: np.ndarray) -> tuple:
    """Counts, median and nine-tenths quantile with limits, and why they aren't there. Arrays (n,), days whole numbers."""
    days, is_closed = days.astype(float), is_closed.astype(bool)
    counts = (len(days), int(is_closed.sum()), int((is_closed & (days == 0)).sum()), int((~is_closed).sum()))
    if len(days) < FEWEST:
        return (*counts, *[None] * 6, f"fewer than {FEWEST} defects")
    if not is_closed.any():
        return (*counts, *[None] * 6, "none of them is closed")
    curve = kaplan_meier(None, days, is_closed)
    has_limits = len(set(batch)) >= FEWEST_BATCHES
    error = measure_cluster_error(curve, None, days, is_closed, batch) if has_limits else None
    told: list[float | None] = []
    for share in (0.5, 0.9):
        limits = (None, None) if error is None else limit_quantile(curve, error, share)
        told += [find_quantile(curve, share), *limits]
    why = (
        "more than half are still open" if told[0] is None
        else "more than one in ten last longer than the records can tell" if told[3] is None
        else "found in too few months for limits" if error is None else None
    )  # fmt: skip
    return (*counts, *told, why)
