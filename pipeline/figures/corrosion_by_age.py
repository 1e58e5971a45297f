"""Shares of corroded units that never fall with age. In: figure.corrosion_by_age. Out: its column share_smooth.

Source: Barlow R. E. et al. (1972) Statistical Inference under Order Restrictions (pooled neighbours); the likeliest curve where each unit
is looked at once: Ayer M. et al. (1955) Annals of Mathematical Statistics 26:641.
"""

from __future__ import annotations

from datetime import date
from itertools import groupby

import duckdb
from scipy import optimize

LEAST_UNITS = 10


def fill(con: duckdb.DuckDBPyConnection, as_of: date) -> None:
    """Smooth each split's bands, youngest first; bands of fewer than ten units are left out and stay without."""
    rows = con.execute(
        """select agent, lining, space_category, age_band_years, units, share from figure.corrosion_by_age where units >= ?
        order by agent, lining, space_category, regexp_extract(age_band_years, '^[0-9]+')::integer""",
        [LEAST_UNITS],
    ).fetchall()
    for _, group in groupby(rows, key=lambda row: row[:3]):
        bands = list(group)
        smooth = optimize.isotonic_regression([row[5] for row in bands], weights=[row[4] for row in bands]).x
        for row, share in zip(bands, smooth, strict=True):
            con.execute(
                """update figure.corrosion_by_age set share_smooth = ?
                where (agent, lining, space_category, age_band_years) = (?, ?, ?, ?)""",
                [round(float(share), 9), *row[:4]],
            )
