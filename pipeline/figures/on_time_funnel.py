"""Vessels against their fleet, and a year against the one before.

In: shares done in time of the fleet and of each vessel, and the design effect that the vessels have in common: judged by its own
effect, which rests on a dozen visits, up to one vessel in 15 of fleets without differences lay outside 99.8 % (tests/statistics).
Out: each vessel's place in the funnel; changes.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from pipeline.figures.statistics.design_effect import CommonEffect, count_effective
from pipeline.figures.statistics.display import judge_display
from pipeline.figures.statistics.funnel import (
    LEAST_GROUPS,
    find_least_ratio,
    find_tails,
    limit_binomial,
    limit_spread,
    measure_root_spread,
)
from pipeline.figures.statistics.proportions import LEAST_CLUSTERS, ClusteredShare, newcombe

SIGNAL, WARNING = 0.998, 0.95


class Place(NamedTuple):
    """Size on the funnel's axis, the fleet's share, limits at that size, spread beyond chance, whether the vessel lies
    outside; of the fleet, how many times as late a vessel of middle size must be to be found with 80 % chance."""

    services: float | None
    centre: float | None
    low_95: float | None = None
    high_95: float | None = None
    low_998: float | None = None
    high_998: float | None = None
    phi: float | None = None
    tau2: float | None = None
    flag: str | None = None
    least_ratio: float | None = None


def find_limits(centre: float, sizes: np.ndarray, tau2: float | None, confidence: float) -> tuple[np.ndarray, np.ndarray]:
    """Limits at sizes (k,), drawn between 0 and 1: exact, or widened where vessels differ beyond chance."""
    if tau2:
        low, high = limit_spread(centre, sizes, tau2, confidence)
    else:
        low, high = (limit_binomial(centre, np.floor(sizes), tail) for tail in ((1 - confidence) / 2, (1 + confidence) / 2))
    return np.maximum(0.0, low), np.minimum(1.0, high)


def judge_vessels(shares: np.ndarray, centre: float, sizes: np.ndarray, outer: tuple, is_wide: bool) -> list[str | None]:
    """'fewer in time' or 'more in time' beyond the 99.8 % limit; by the exact tails, or by the widened limits."""
    few, many = find_tails(shares * sizes, sizes, centre)
    is_less, is_more = (shares < outer[0], shares > outer[1]) if is_wide else (few <= (1 - SIGNAL) / 2, many <= (1 - SIGNAL) / 2)
    return ["fewer in time" if less else "more in time" if more else None for less, more in zip(is_less, is_more, strict=True)]


def place_vessels(centre: float | None, vessels: dict[str, ClusteredShare], common: CommonEffect | None) -> dict[str, Place]:
    """The place of each vessel and, under '*', of the fleet itself: its share alone. No limits where all or none was in time."""
    places = {imo: Place(None, centre) for imo in ("*", *vessels)}
    told = {imo: share for imo, share in vessels.items() if share.share is not None}
    if not told or centre is None or not 0 < centre < 1 or common is None:
        return places
    due, shares, calls = (
        np.array([getattr(share, name) for share in told.values()], float) for name in ("due", "share", "clusters")
    )
    sizes, inner_sizes = (count_effective(due, common, confidence, calls) for confidence in (SIGNAL, WARNING))
    phi = tau2 = None
    if len(told) >= 2:
        phi, between = measure_root_spread(shares, centre, sizes)
        tau2 = between if len(told) >= LEAST_GROUPS else None
    inner, outer = find_limits(centre, inner_sizes, tau2, WARNING), find_limits(centre, sizes, tau2, SIGNAL)
    flags = judge_vessels(shares, centre, sizes, outer, bool(tau2))
    middle = int(np.median(sizes))
    edge = 1 - float(find_limits(centre, np.array([float(middle)]), tau2, SIGNAL)[0][0]) if tau2 else None
    places["*"] = Place(None, centre, phi=phi, tau2=tau2, least_ratio=find_least_ratio(1 - centre, middle, edge=edge))
    for n, imo in enumerate(told):
        limits = (float(limit[n]) for limit in (*inner, *outer))
        flag = flags[n] if calls[n] >= LEAST_CLUSTERS else None
        places[imo] = Place(float(sizes[n]), centre, *limits, phi, tau2, flag)
    return places


def compare_years(
    now: ClusteredShare, common: CommonEffect | None, before: ClusteredShare | None, common_before: CommonEffect | None
) -> tuple[float | None, float | None, float | None, str]:
    """The change, its limits on effective counts, and the verdict in a word; no limits where either year's share isn't told."""
    if before is None or now.share is None or before.share is None:
        return None, None, None, "too few"
    if not common or not common_before or any(judge_display(share)[0] != "rate" for share in (now, before)):
        return now.share - before.share, None, None, "too few"
    sizes = [
        float(count_effective(share.due, effect, clusters=share.clusters))
        for share, effect in ((now, common), (before, common_before))
    ]
    found = newcombe(now.share * sizes[0], sizes[0], before.share * sizes[1], sizes[1])
    return *found, "better" if found.low > 0 else "worse" if found.high < 0 else "can not be told"
