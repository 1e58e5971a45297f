"""Share that an event has reached by a time, where other events can come first.

In: times (n,) from the start of watching, what ended it (n,): 0 still watched, 1, 2, ... a cause. Out: a step function of each cause.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike


class Incidence(NamedTuple):
    """Times (m,) at which anything happened, and the share (causes, m) that each cause has reached by then."""

    times: np.ndarray
    shares: np.ndarray

    def at(self, time: float) -> np.ndarray:
        """Share (causes,) of each cause by a time."""
        place = int(np.searchsorted(self.times, time, side="right"))
        return self.shares[:, place - 1] if place else np.zeros(len(self.shares))


def aalen_johansen(times: ArrayLike, causes: ArrayLike, count: int, weights: ArrayLike | None = None) -> Incidence:
    """Cumulative incidence of causes 1 to `count`: sum over times of (share still there before) x (events / at risk).

    One minus the Kaplan-Meier curve of one cause is no such share: it asks what would happen if nothing else could. Source: Aalen O. O.,
    Johansen S. (1978) Scandinavian Journal of Statistics 5:141 (from memory).
    """
    t, c = np.asarray(times, float), np.asarray(causes, int)
    w = np.ones(len(t)) if weights is None else np.asarray(weights, float)
    moments, place = np.unique(t, return_inverse=True)
    size = len(moments)
    leaving = np.bincount(place, w, size)
    events = np.array([np.bincount(place, w * (c == cause), size) for cause in range(1, count + 1)]).reshape(count, size)
    at_risk = np.cumsum(leaving[::-1])[::-1]
    hazard = events / np.where(at_risk > 0, at_risk, 1)
    there = np.concatenate([[1.0], np.cumprod(1 - hazard.sum(axis=0))])[:-1]
    happened = events.sum(axis=0) > 0
    return Incidence(moments[happened], np.cumsum(there * hazard, axis=1)[:, happened])
