"""How deep do pits get? In: figure.pit_reading. Out: figure.pit_depth, filled."""

from __future__ import annotations

from datetime import date

import duckdb
import numpy as np

from pipeline.figures.insert import insert_rows
from pipeline.figures.statistics.extremes import LEAST_MAXIMA, check_form, find_level, fit_maxima


def describe_pits(depths: np.ndarray) -> tuple:
    """Columns from `units` on."""
    counted = len(depths), round(float(np.median(depths)), 6), float(depths.max())
    if len(depths) < LEAST_MAXIMA:
        return (
            *counted,
            *(None,) * 8,
            f"{len(depths)} {'unit' if len(depths) == 1 else 'units'} with a pit; {LEAST_MAXIMA} are needed",
        )
    try:
        plain = fit_maxima(depths)
    except ValueError as why:
        return (*counted, *(None,) * 8, str(why))
    values = [plain.values[0], plain.errors[0], plain.values[1], plain.errors[1]]
    try:
        general = fit_maxima(depths, with_form=True)
        form = [general.values[2], general.errors[2], check_form(plain, general)]
    except ValueError:
        form = [None, None, None]
    level = find_level(plain, 100)
    return (*counted, *(None if v is None else round(v, 6) for v in (*values, *form, level)), None)


def fill(con: duckdb.DuckDBPyConnection, as_of: date) -> None:
    """All materials, then each."""
    rows = con.execute(
        "select shell_material, pit_depth_mm from figure.pit_reading order by shell_material, pit_depth_mm, unit_id"
    ).fetchall()
    if not rows:
        return
    material, depth = np.array([row[0] for row in rows]), np.array([row[1] for row in rows], float)
    out = [("*", *describe_pits(np.sort(depth)))]
    out += [(str(name), *describe_pits(depth[material == name])) for name in np.unique(material)]
    insert_rows(con, "figure.pit_depth", out)
