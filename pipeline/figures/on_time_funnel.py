"""Vessels against their fleet, and a year against the one before.

In: shares done in time of the fleet and of each vessel, and the design effect that the vessels have in common: judged by its own
effect, which rests on a dozen visits, up to one vessel in 15 of fleets without differences lay outside 99.8 % (tests/statistics).
Out: each vessel's place in the funnel; changes.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy import special

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
STEPS = (0.1, 0.3, 0.5, 0.7, 0.9)  # chances at which the others' share is taken
FINE = 1e-4  # of a share
ASKED = 0.85  # to be sure of the 80 % told: that share, size and spread are estimated costs up to five of a hundred (tests/statistics)


class Place(NamedTuple):
    """Size on the funnel's axis, the fleet's share, limits at that size, spread beyond chance, whether the vessel lies
    outside; of the fleet, how many times as often late as the others a vessel of middle size must be to be found with 80 % chance."""

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


def hold_sizes(due: np.ndarray, sizes: np.ndarray) -> np.ndarray:
    """Sizes (k,) by which vessels are set against a centre that isn't known but summed of them, each of weight w = due / sum due.

    A vessel's distance from it varies as (1 - 2 w) / n + sum w^2 / n; where that is more than 1 / n, a few large vessels of few calls
    make the centre, and the vessel counts as so many fewer. Never more than n, though in a fleet of equal vessels the distance
    varies less. Source: the variance of a difference of two sums; that it is never below 1 / n is the project's rule.
    """
    w = due / due.sum()
    return np.maximum(1.0, np.minimum(sizes, 1 / np.maximum((1 - 2 * w) / sizes + (w * w / sizes).sum(), 1e-12)))


def measure_differences(shares: np.ndarray, centre: float, sizes: np.ndarray) -> tuple[float | None, float | None]:
    """phi and, from ten vessels on, tau2: how much more vessels differ than chance; None where there are too few."""
    if len(shares) < 2:
        return None, None
    phi, between = measure_root_spread(shares, centre, sizes)
    return phi, between if len(shares) >= LEAST_GROUPS else None


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
    due, shares, calls, equal = (
        np.array([getattr(share, name) for share in told.values()], float)
        for name in ("due", "share", "clusters", "equal_clusters")
    )
    sizes, inner_sizes = (hold_sizes(due, count_effective(due, common, confidence, equal)) for confidence in (SIGNAL, WARNING))
    phi, tau2 = measure_differences(shares, centre, sizes)
    inner, outer = find_limits(centre, inner_sizes, tau2, WARNING), find_limits(centre, sizes, tau2, SIGNAL)
    flags = judge_vessels(shares, centre, sizes, outer, bool(tau2))
    places["*"] = Place(None, centre, phi=phi, tau2=tau2, least_ratio=find_seen_ratio(shares, due, sizes))
    for n, imo in enumerate(told):
        limits = (float(limit[n]) for limit in (*inner, *outer))
        flag = flags[n] if calls[n] >= LEAST_CLUSTERS else None
        places[imo] = Place(float(sizes[n]), centre, *limits, phi, tau2, flag)
    return places


def is_found(late: float, place: int, others: np.ndarray, due: np.ndarray, sizes: np.ndarray) -> bool:
    """Would the vessel at `place` be flagged with this share late, the others having theirs in time? It stands in centre and spread."""
    shares = others.copy()
    shares[place] = 1 - late
    centre = float(due @ shares / due.sum())
    if not 0 < centre < 1:
        return False
    tau2 = measure_differences(shares, centre, sizes)[1] if len(shares) >= LEAST_GROUPS else None
    mine, at = shares[place : place + 1], sizes[place : place + 1]
    outer = find_limits(centre, at, tau2, SIGNAL) if tau2 else (mine, mine)
    return judge_vessels(mine, centre, at, outer, bool(tau2))[0] == "fewer in time"


def find_edges(base: float, place: int, shares: np.ndarray, due: np.ndarray, sizes: np.ndarray) -> list[float]:
    """From which share late on the vessel at `place` is flagged, at equally likely shares of the others, late as `base` says; above 1: never."""
    rest, edges = np.arange(len(sizes)) != place, []
    weight = due[rest] / due[rest].sum()
    worth, late = 1 / float((weight**2 / sizes[rest]).sum()), float(weight @ (1 - shares[rest]))
    for chance in STEPS:
        true = float(special.betaincinv(base * worth, (1 - base) * worth, chance))
        others = np.full(len(sizes), 1 - true)
        if late > 0 and len(sizes) >= LEAST_GROUPS:
            others[rest] = 1 - np.minimum(1.0, (1 - shares[rest]) * true / late)
        low, high = 0.0, 1.0
        if not is_found(high, place, others, due, sizes):
            low, high = 2.0, 2.0
        while high - low > FINE:
            middle = (low + high) / 2
            low, high = (low, middle) if is_found(middle, place, others, due, sizes) else (middle, high)
        edges.append(high)
    return edges


def find_seen_ratio(shares: np.ndarray, due: np.ndarray, sizes: np.ndarray) -> float | None:
    """How many times as often late as the others the vessel of middle size must be to be flagged with 80 % chance; None: not even
    if always late. The others are late as often as the fleet is now.

    The fleet's share holds the vessel that is judged, so it moves with it, as does the spread that widens limits; taken as known, a
    fleet of three was promised 80 % where 18 were found (tests/statistics). The others' share is known no better than their services
    tell. Counts are whole, and of how many isn't known to the last one: the worst of sizes up to a fifth above.
    Source: the rule of place_vessels itself, by the tails of the binomial; the fifth is the project's rule.
    """
    base, place = 1 - float(due @ shares / due.sum()), int(np.argsort(sizes, kind="stable")[(len(sizes) - 1) // 2])
    if len(sizes) < 2:
        return None
    edges = np.array(find_edges(base, place, shares, due, sizes))
    size = int(sizes[place])
    counts = np.unique(np.linspace(size, max(size, min(due[place], np.ceil(1.2 * sizes[place]))), 4).astype(int))
    found = [find_least_ratio(base, int(n), ASKED, leasts=np.ceil(n * (edges - 2 * FINE))) for n in counts]
    return None if None in found else max(ratio for ratio in found if ratio is not None)


def compare_years(
    now: ClusteredShare, common: CommonEffect | None, before: ClusteredShare | None, common_before: CommonEffect | None
) -> tuple[float | None, float | None, float | None, str]:
    """The change, its limits on effective counts, and the verdict in a word; no limits where either year's share isn't told."""
    if before is None or now.share is None or before.share is None:
        return None, None, None, "too few"
    if not common or not common_before or any(judge_display(share)[0] != "rate" for share in (now, before)):
        return now.share - before.share, None, None, "too few"
    sizes = [
        float(count_effective(share.due, effect, clusters=share.equal_clusters))
        for share, effect in ((now, common), (before, common_before))
    ]
    found = newcombe(now.share * sizes[0], sizes[0], before.share * sizes[1], sizes[1])
    return *found, "better" if found.low > 0 else "worse" if found.high < 0 else "can not be told"
