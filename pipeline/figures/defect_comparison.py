"""Do vessels differ in their rate of defects, and did the rate change? In: defect_rate, defect_report, observed. Out: the tables of
defect_comparison.sql, filled."""

from __future__ import annotations

from datetime import date
from typing import NamedTuple

import duckdb
import numpy as np
from scipy import stats

from pipeline.figures.apart import Compute, Write, write_each
from pipeline.figures.insert import insert_many, insert_rows
from pipeline.figures.statistics.rates import (
    compare_rates,
    compare_years,
    limit_common_rate,
    measure_dispersion,
    measure_interaction,
)
from pipeline.figures.statistics.shrinkage import shrink

DAYS_PER_YEAR = 365.25
FACTOR = 1.5
FEWEST = 10  # findings in the fleet from which vessels or years are compared
NO_EVIDENCE_ABOVE = 0.10
RATES_SQL = """
    select imo_number, findings, unit_years, per_100_unit_years, low, high from figure.defect_rate
    where period = ? and (component, defect, agent, space_category, maker, provider) = ('*', '*', '*', '*', '*', '*')
        and unit_years > 0
    order by imo_number"""


class Spread(NamedTuple):
    """What the fleet's row says of its vessels."""

    x2: float | None
    df: int | None
    p: float | None
    yearly_phi: float | None
    verdict_p: float | None
    verdict: str


def fill(con: duckdb.DuckDBPyConnection, as_of: date) -> Compute:
    """Read the tables before them; what is returned computes figure.defect_vessel and figure.defect_change."""
    blocks = con.execute("select imo_number, years_back, findings, unit_days from defect_block").fetchall()
    rates = {period: con.execute(RATES_SQL, [period]).fetchall() for period in ("all", "last 12 months")}
    con.execute("drop table defect_block")

    def compute() -> Write:
        vessels, change = compare_all(blocks, rates)
        return write_each((insert_many, "figure.defect_vessel", vessels), (insert_rows, "figure.defect_change", change))

    return compute


def compare_all(blocks: list[tuple], rates: dict[str, list[tuple]]) -> tuple[list[tuple], list[tuple]]:
    """Rows of figure.defect_vessel and of figure.defect_change."""
    phi, df = measure_years(blocks)
    rows = []
    for period, found in rates.items():
        vessels = [row for row in found if row[0] != "*"]
        for fleet in [row for row in found if row[0] == "*"]:
            rows += compare_period(period, fleet, vessels, phi, df)
    return rows, compare_change(blocks, phi, df)


def measure_years(blocks: list[tuple]) -> tuple[float, int]:
    """How much more than chance a vessel's count moves from year to year apart from the fleet (phi, never below 1), and df.

    Finds come in batches: by this much, two vessels alike in the long run differ in one year. (1, 0) where it can't be measured.
    """
    names, years = (sorted({row[place] for row in blocks}) for place in (0, 1))
    row, column = ({name: place for place, name in enumerate(listed)} for listed in (names, years))
    counts, days = np.zeros((len(names), len(years))), np.zeros((len(names), len(years)))
    for name, year, findings, unit_days in blocks:
        counts[row[name], column[year]] = findings
        days[row[name], column[year]] = unit_days
    return measure_interaction(counts, days / DAYS_PER_YEAR)


def judge_spread(counts: np.ndarray, years: np.ndarray, phi: float, df: int) -> Spread:
    """Do the vessels differ by more than chance and batches? The verdict takes the larger of both p."""
    if len(counts) < 2:
        return Spread(None, None, None, None, None, "one vessel: nothing to compare")
    found = measure_dispersion(counts, years)
    p = float(found.p)
    wide = float(stats.f.sf(found.phi / phi, found.df, df)) if phi > 1 else p
    told = (
        "too few found to compare vessels" if counts.sum() < FEWEST
        else "no evidence that vessels differ" if max(p, wide) > NO_EVIDENCE_ABOVE
        else "vessels differ by more than chance"
    )  # fmt: skip
    return Spread(found.x2, found.df, p, phi if df else None, max(p, wide), told)


def compare_period(period: str, fleet: tuple, vessels: list[tuple], phi: float, df: int) -> list[tuple]:
    """One period: the fleet's row, then the vessels', ranked by their chance where the verdict allows it."""
    counts, years = (np.array([row[place] for row in vessels], float) for place in (1, 2))
    spread = judge_spread(counts, years, phi, df)
    limits = limit_common_rate(counts, years)
    is_wide = bool(spread.x2 is not None and spread.x2 > spread.df and counts.sum())
    rows = [(
        period, "*", *fleet[1:4], 100 * limits[0], 100 * limits[1], "quasi-Poisson" if is_wide else "Garwood",
        *[None] * 5, *spread,
    )]  # fmt: skip
    # counts and exposures by phi: the same rates, known as much less well as batches make them
    drawn = shrink(counts / phi, years / phi, FACTOR) if len(vessels) > 1 else None
    order = np.argsort(-drawn.chance_above, kind="stable") if drawn else []
    place = {int(i): n for n, i in enumerate(order, 1)} if spread.verdict.startswith("vessels differ") else {}
    for i, row in enumerate(vessels):
        numbers = [None] * 4 if drawn is None else [
            *(float(100 * values[i]) for values in drawn[:3]), float(drawn.chance_above[i])
        ]  # fmt: skip
        rows.append((period, *row, "Garwood", *numbers, place.get(i), *[None] * 6))
    return rows


def compare_change(blocks: list[tuple], phi: float, df: int) -> list[tuple]:
    """The fleet's one row; none where one of the two years was not watched."""
    cells = {(row[0], row[1]): row[2:] for row in blocks}
    names = sorted({row[0] for row in blocks})
    (now, days), (before, days_before) = (
        np.array([cells.get((name, back), (0, 0)) for name in names], float).reshape(-1, 2).T for back in (0, 1)
    )
    a, s, b, t = int(now.sum()), float(days.sum()), int(before.sum()), float(days_before.sum())
    if not min(s, t) > 0:
        return []
    exact, wide = compare_rates(a, s, b, t), compare_years(now, days, before, days_before, phi, df)
    p = max(exact.p, wide.p if wide else 0.0)
    verdict = (
        "too few to tell" if a + b < FEWEST
        else "can not be told from chance" if p > 0.05
        else "more than the year before" if a / s > b / t else "fewer than the year before"
    )  # fmt: skip
    wider = (wide.low, wide.high, wide.p) if wide else (None, None, None)
    return [(a, s / DAYS_PER_YEAR, b, t / DAYS_PER_YEAR, *exact, *wider, verdict)]
