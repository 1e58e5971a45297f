"""An invented vessel whose services come in visits: what falls due at one call is late together.

In: a generator and the shape of the calendar. Out: of each visit, how many services were done in time. The delay of a visit is drawn
once for all its units (gamma); each unit's due date lies somewhat apart from the visit; one unit in twenty is missed.
"""

from __future__ import annotations

import numpy as np
from scipy import stats

MISSED, LEAD, APART = 0.05, 15.0, 10.0  # share; days between visit and due date as planned, and how far units lie about it


def draw_visits(
    chance: np.random.Generator, vessels: int, visits: int, units: int, delay: float, shape: float = 1.0
) -> np.ndarray:
    """Services in time (vessels, visits), of `units` due at each; `delay` is the gamma's scale in days."""
    late_by = chance.gamma(shape, delay, (vessels, visits, 1))
    slack = LEAD + chance.uniform(-APART, APART, (vessels, visits, units))
    is_late = (late_by > slack) | (chance.random((vessels, visits, units)) < MISSED)
    return units - is_late.sum(axis=2)


def find_truth(units: int, delay: float, draws: int = 40_000) -> float:
    """The share in time that the calendar has in the long run, from its own stream."""
    return float(draw_visits(np.random.default_rng(999), draws, 1, units, delay).mean() / units)


def draw_correlated(
    chance: np.random.Generator, shape: tuple[int, ...], rho: float, months: int = 12, units: int = 60
) -> tuple[np.ndarray, float]:
    """Checks in time (*shape, months) of `units` due each month where neighbouring months of a vessel correlate at rho, and the share in
    the long run."""
    level = chance.normal(size=(*shape, months))
    for month in range(1, months):
        level[..., month] = rho * level[..., month - 1] + np.sqrt(1 - rho**2) * level[..., month]
    late = chance.binomial(units, stats.norm.cdf(-1.3 + 1.2 * level))
    return units - late, float(stats.norm.cdf(1.3 / np.sqrt(1 + 1.2**2)))
