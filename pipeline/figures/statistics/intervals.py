"""Intervals for counts and shares. In: counts and exposures. Out: limits, 95 % two-sided unless said otherwise."""

from __future__ import annotations

import duckdb
from scipy import stats


def garwood(events: int, confidence: float = 0.95) -> tuple[float, float]:
    """Exact limits of a Poisson mean for `events` counted (no unit). ValueError if negative.

    Source: Garwood F. (1936) Biometrika 28:437; lower limit 0 at 0 events.
    """
    if events < 0:
        raise ValueError(f"a count can't be negative: {events}")
    tail = (1 - confidence) / 2
    low = 0.0 if events == 0 else float(stats.chi2.ppf(tail, 2 * events) / 2)
    return low, float(stats.chi2.ppf(1 - tail, 2 * events + 2) / 2)


def wilson(events: int, trials: int, confidence: float = 0.95) -> tuple[float, float]:
    """Score limits of a share, both in 0..1. ValueError unless 0 <= events <= trials and trials > 0.

    Source: Wilson E. B. (1927) J. Am. Stat. Assoc. 22:209, without continuity correction.
    """
    interval = stats.binomtest(int(events), int(trials)).proportion_ci(confidence, method="wilson")
    return float(interval.low), float(interval.high)


def register_intervals(con: duckdb.DuckDBPyConnection) -> None:
    """Make garwood_low, garwood_high, wilson_low and wilson_high callable in the figures' SQL."""
    con.create_function("garwood_low", lambda events: garwood(events)[0], ["BIGINT"], "DOUBLE")
    con.create_function("garwood_high", lambda events: garwood(events)[1], ["BIGINT"], "DOUBLE")
    con.create_function("wilson_low", lambda events, trials: wilson(events, trials)[0], ["BIGINT", "BIGINT"], "DOUBLE")
    con.create_function("wilson_high", lambda events, trials: wilson(events, trials)[1], ["BIGINT", "BIGINT"], "DOUBLE")
