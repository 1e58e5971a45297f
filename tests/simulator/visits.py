"""When the service provider comes. In: vessels, days, draws. Out: day and provider of each visit (vessel, batch, cycle)."""

from __future__ import annotations

import numpy as np

from .calendar_days import add_months
from .draws import Draws
from .fleet import Vessel
from .parameters import PROVIDERS, Truth


def rate_lateness(vessels: list[Vessel], vessel: np.ndarray, day: np.ndarray, truth: Truth) -> np.ndarray:
    """Lateness of each vessel on a day: its own, raised in its bad year."""
    own = np.array([v.lateness for v in vessels])[vessel]
    bad_from = np.array([v.bad_from for v in vessels])[vessel]
    bad_to = np.array([v.bad_to for v in vessels])[vessel]
    return np.where((day >= bad_from) & (day < bad_to), own * truth.bad_year_lateness, own)


def plan_visits(vessels: list[Vessel], first: int, end: int, draws: Draws, truth: Truth) -> tuple[np.ndarray, np.ndarray]:
    """Two visits a year, each booked from the last one; a slip is shared by every unit of the visit.

    A visit that falls into a lay-up comes after it. Returns (days, provider numbers), each vessel x 2 x cycle.
    """
    count = len(vessels)
    vessel = np.repeat(np.arange(count)[:, None], 2, axis=1)
    laid_from = np.array([v.laid_up_from for v in vessels])[vessel]
    laid_to = np.array([v.laid_up_to for v in vessels])[vessel]
    home = np.array([v.home_provider for v in vessels])[vessel]
    day = first + draws.between(0, 150, count, 2) + np.array([0, 182])
    days, providers = [], []
    while True:
        days.append(day)
        away = draws.uniform(count, 2) < 0.2
        providers.append(np.where(away, draws.between(0, len(PROVIDERS) - 1, count, 2), home))
        if day.min() > end:
            return np.stack(days, axis=2), np.stack(providers, axis=2)
        day = add_months(day, 12) - draws.between(*truth.visit_lead_days, count, 2)
        late = rate_lateness(vessels, vessel, day, truth)
        slips = draws.uniform(count, 2) < np.minimum(0.9, truth.visit_late_share * late)
        slip = truth.visit_late_days * np.sqrt(late) * draws.gamma(2, count, 2)
        day = day + np.where(slips, np.minimum(slip, 200), 0).astype(np.int64)
        day = np.where((day >= laid_from) & (day < laid_to), laid_to + draws.between(2, 12, count, 2), day)
