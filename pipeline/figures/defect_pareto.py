"""Which defects come first, and how sure that is. In: the temporary tables of defect_pareto.sql. Out: figure.defect_pareto, filled."""

from __future__ import annotations

from collections import defaultdict
from datetime import date

import duckdb
import numpy as np

from pipeline.figures.apart import Compute, Write, write_each
from pipeline.figures.insert import insert_rows
from pipeline.figures.statistics.pareto import find_tied, resample_shares

FEWEST_CLUSTERS = 5
UNCODED = "other"


def fill(con: duckdb.DuckDBPyConnection, as_of: date) -> Compute:
    """Read what was found; what is returned computes figure.defect_pareto, period by period."""
    read = []
    for period in ("all", "last 12 months"):
        select = "select imo_number, month, component, defect, findings from defect_cell where period = ? order by all"
        cells = con.execute(select, [period]).fetchall()
        watched = con.execute("select imo_number from defect_vessel_watched where period = ? order by all", [period]).fetchall()
        read.append((period, cells, [row[0] for row in watched]))
    con.execute("drop table defect_cell")
    con.execute("drop table defect_vessel_watched")

    def compute() -> Write:
        rows = [row for period, cells, vessels in read if cells for row in rank(period, cells, vessels)]
        return write_each((insert_rows, "figure.defect_pareto", rows))

    return compute


def rank(period: str, cells: list[tuple], vessels: list[str]) -> list[tuple]:
    """Rows of one period, most found first."""
    found: dict[tuple, int] = defaultdict(int)
    for cell in cells:
        found[cell[2:4]] += cell[4]
    kinds = sorted(found, key=lambda kind: (-found[kind], kind))
    counts, clustered_by = count_clusters(cells, kinds, vessels)
    is_ranked = np.array([defect != UNCODED for _, defect in kinds])
    totals = counts.sum(axis=0)
    why_not = (
        f"fewer than {FEWEST_CLUSTERS} vessels or months with findings to draw from" if len(counts) < FEWEST_CLUSTERS else None
    )
    if why_not is None and not is_ranked.any():
        why_not = "all found are uncoded"
    drawn = None if why_not else resample_shares(counts, is_ranked)
    tied = find_tied(counts, is_ranked) if drawn else np.array([], int)
    rows = []
    for i, kind in enumerate(kinds):
        numbers = (None,) * 2 if drawn is None else (float(drawn.low[i]), float(drawn.high[i]))
        is_told = drawn is not None and is_ranked[i]
        chances = (float(drawn.chance_first[i]), float(drawn.chance_top3[i])) if is_told else (None, None)
        others = [" ".join(kinds[j]) for j in tied if j != i] if i in tied else []
        rows.append((
            period, *kind, int(totals[i]), float(totals[i] / totals.sum()), *numbers, *chances, bool(is_ranked[i]),
            bool(i in tied and len(tied) == 1), others, len(counts), clustered_by, why_not,
        ))  # fmt: skip
    return rows


def count_clusters(cells: list[tuple], kinds: list[tuple], vessels: list[str]) -> tuple[np.ndarray, str]:
    """Counts (clusters, kinds): by vessel, those without a finding too; by vessel and month where vessels are too few."""
    is_by_vessel = len(vessels) >= FEWEST_CLUSTERS
    names = sorted({*vessels, *(c[0] for c in cells)}) if is_by_vessel else sorted({c[:2] for c in cells})
    place = {name: n for n, name in enumerate(names)}
    column = {kind: n for n, kind in enumerate(kinds)}
    counts = np.zeros((len(names), len(kinds)), np.int64)
    for cell in cells:
        counts[place[cell[0] if is_by_vessel else cell[:2]], column[cell[2:4]]] += cell[4]
    return counts, "vessels" if is_by_vessel else "vessel months"
