"""How long defects last. In: the temporary table of defect_closing.sql. Out: figure.defect_closing, filled."""

from __future__ import annotations

from datetime import date
from itertools import pairwise
from typing import NamedTuple

import duckdb
import numpy as np

from pipeline.figures.apart import Compute, Write, write_each
from pipeline.figures.insert import insert_many
from pipeline.figures.statistics.columns import pick
from pipeline.figures.statistics.lifetimes import (
    find_quantile,
    kaplan_meier,
    limit_quantiles,
    measure_cluster_error,
    number_clusters,
)

FEWEST, FEWEST_BATCHES = 10, 3
SHARES = (0.5, 0.9)
MONTHS = 200_000  # more than any number of a month


class Closing(NamedTuple):
    """Defects (n,) in order of vessel and month: days that they lasted or have lasted, whether they are closed, number of vessel and month of the
    find, place of the severity among the words, whether they were found in the last 12 months."""

    days: np.ndarray
    is_closed: np.ndarray
    batch: np.ndarray
    severity: np.ndarray
    is_late: np.ndarray


def read_closing(con: duckdb.DuckDBPyConnection) -> tuple[Closing, list[str], list[str], np.ndarray]:
    """All defects, the words of severity and the vessels in order, and where each vessel's defects begin (vessels + 1,)."""
    words = [row[0] for row in con.execute("select distinct severity from closing_time order by 1").fetchall()]
    vessels = con.execute("select imo_number, count(*) from closing_time group by 1 order by 1").fetchall()
    # words and vessels as numbers: as text on each defect they would take most of the time
    found = con.execute(
        "select days, is_closed, month_no, list_position($words, severity) - 1 as word, is_late from closing_time order by imo_number, month_no",
        {"words": words},
    ).fetchnumpy()
    counts = np.array([row[1] for row in vessels], int)
    batch = np.repeat(np.arange(len(vessels)) * MONTHS, counts) + np.asarray(found["month_no"], np.int64)
    days, is_closed, is_late = (
        np.asarray(found[name], kind) for name, kind in (("days", float), ("is_closed", bool), ("is_late", bool))
    )
    edges = np.concatenate([[0], np.cumsum(counts)])
    return Closing(days, is_closed, batch, np.asarray(found["word"], int), is_late), words, [row[0] for row in vessels], edges


def fill(con: duckdb.DuckDBPyConnection, as_of: date) -> Compute:
    """Read the defects; what is returned computes figure.defect_closing."""
    read = read_closing(con)
    con.execute("drop table closing_time")

    def compute() -> Write:
        rows = measure_all(*read)
        return write_each((insert_many, "figure.defect_closing", rows))

    return compute


def measure_all(every: Closing, words: list[str], vessels: list[str], edges: np.ndarray) -> list[tuple]:
    """Rows of figure.defect_closing: all, by severity, by vessel; for each period."""
    rows = []
    for period in ("all", "last 12 months"):
        whole = every if period == "all" else pick(every, every.is_late)
        places = edges if period == "all" else np.concatenate([[0], np.cumsum(every.is_late)])[edges]
        picks = [("*", "*", slice(None))]
        picks += [(word, "*", whole.severity == place) for place, word in enumerate(words)]
        picks += [("*", imo, slice(*ends)) for imo, ends in zip(vessels, pairwise(places.tolist()), strict=True)]
        for word, imo, picked in picks:
            mine = pick(whole, picked)
            if len(mine.days):
                rows.append((period, word, imo, *measure_closing(*mine[:3])))
    return rows


def measure_closing(days: np.ndarray, is_closed: np.ndarray, batch: np.ndarray) -> tuple:
    """Counts, median and nine-tenths quantile with limits, and why they aren't there. Arrays (n,), days whole numbers."""
    counts = (len(days), int(is_closed.sum()), int((is_closed & (days == 0)).sum()), int((~is_closed).sum()))
    if len(days) < FEWEST:
        return (*counts, *[None] * 6, f"fewer than {FEWEST} defects")
    if not is_closed.any():
        return (*counts, *[None] * 6, "none of them is closed")
    curve = kaplan_meier(None, days, is_closed)
    batches, batch = number_clusters(batch)
    error = measure_cluster_error(curve, None, days, is_closed, batch) if batches >= FEWEST_BATCHES else None
    limits = [(None, None)] * 2 if error is None else limit_quantiles(curve, error, SHARES)
    told = [value for share, pair in zip(SHARES, limits, strict=True) for value in (find_quantile(curve, share), *pair)]
    why = (
        "more than half are still open" if told[0] is None
        else "more than one in ten last longer than the records can tell" if told[3] is None
        else "found in too few months for limits" if error is None else None
    )  # fmt: skip
    return (*counts, *told, why)
