"""How long until something happens, where some are still waiting and some came under watch late.

In: entry, end of watch and whether it happened, for each item. Out: a curve of those still waiting, its limits, its quantiles.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy import special


class Curve(NamedTuple):
    """At each time (k,) at which it happened: how many were watched, to how many it happened, and the share still waiting after it."""

    time: np.ndarray
    at_risk: np.ndarray
    events: np.ndarray
    survival: np.ndarray


def check_times(entry: ArrayLike | None, until: ArrayLike, event: ArrayLike) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """As arrays (n,), entry -inf where none is given; ValueError unless each entry lies before its end."""
    out, is_event = np.asarray(until, float), np.asarray(event, bool)
    come = np.full(len(out), -np.inf) if entry is None else np.asarray(entry, float)
    if not come.shape == out.shape == is_event.shape or not (come < out).all():
        raise ValueError("each item needs an entry before its end")
    return come, out, is_event


def kaplan_meier(
    entry: ArrayLike | None, until: ArrayLike, event: ArrayLike, start: float = -np.inf
) -> Curve:  # fmt: skip
    """Product-limit curve of items watched over (entry, until]; `event` is False where the wait went on after it.

    With `start` only what happens after it counts, so that the curve is conditional on waiting still at `start`.
    No event: an empty curve. ValueError where an entry does not lie before its end. Source: Kaplan E. L., Meier P. (1958)
    J. Am. Stat. Assoc. 53:457; late entry as in Klein J. P., Moeschberger M. L. (2003) Survival Analysis, section 4.6.
    """
    come, out, is_event = check_times(entry, until, event)
    time, events = np.unique(out[is_event & (out > start)], return_counts=True)
    begun = len(out) if entry is None else np.searchsorted(np.sort(come), time, "left")
    at_risk = begun - np.searchsorted(np.sort(out), time, "left")
    return Curve(time, at_risk, events, np.cumprod(1 - events / np.maximum(at_risk, 1)))


def measure_error(curve: Curve) -> np.ndarray:
    """Standard error (k,) of -log S: sum d / (n (n - d)); infinite once nobody waits. Source: Greenwood M. (1926), as in section 4.2 there."""
    left = curve.at_risk - curve.events
    with np.errstate(divide="ignore"):
        return np.sqrt(np.cumsum(np.where(left > 0, curve.events / (curve.at_risk * np.maximum(left, 1)), np.inf)))


def measure_cluster_error(
    curve: Curve, entry: ArrayLike | None, until: ArrayLike, event: ArrayLike, cluster: ArrayLike
) -> np.ndarray:  # fmt: skip
    """Standard error (k,) of -log S where items of one cluster (n,) share a fate: the clusters' influences, squared and added.

    The influence of an item is the sum over time of (its event - its share of the events) / (n - d); m / (m - 1) for m clusters.
    ValueError below 2 clusters. Source: Ying Z., Wei L. J. (1994) J. Multivariate Analysis 50:17 (from memory), with n - d
    in the place of n, so that it is Greenwood's where each item is its own cluster and all entered at once.
    """
    come, out, is_event = check_times(entry, until, event)
    size, number = number_clusters(np.asarray(cluster))
    if size < 2:
        raise ValueError("one cluster has nothing to vary from")
    times, place = len(curve.time), np.searchsorted(curve.time, out)
    is_at = place < times
    is_at[is_at] = curve.time[place[is_at]] == out[is_at]
    counts = is_event & is_at
    happened = count_pairs(number[counts], place[counts], size, times)
    # watched over (entry, until]: from the first time after entry to the last at or before exit
    ended = np.cumsum(count_pairs(number, place + is_at, size, times + 1), axis=1)
    if entry is None:
        begun = np.bincount(number, minlength=size)[:, None]
    else:
        begun = np.cumsum(count_pairs(number, np.searchsorted(curve.time, come, "right"), size, times + 1), axis=1)[:, :-1]
    watched = begun - ended[:, :-1]
    left = curve.at_risk - curve.events
    influence = np.cumsum((happened - watched * curve.events / curve.at_risk) / np.maximum(left, 1), axis=1)
    error = np.sqrt(size / (size - 1) * (influence**2).sum(axis=0))
    return np.where(left > 0, error, np.inf)


def number_clusters(cluster: np.ndarray) -> tuple[int, np.ndarray]:
    """How many clusters (n,) name, and the number of each one's, in their order; much faster where equal names stand together, in order."""
    if len(cluster) and (cluster[1:] >= cluster[:-1]).all():
        number = np.concatenate([[0], np.cumsum(cluster[1:] != cluster[:-1])])
        return int(number[-1]) + 1, number
    names, number = np.unique(cluster, return_inverse=True)
    return len(names), number


def count_pairs(row: np.ndarray, column: np.ndarray, rows: int, columns: int) -> np.ndarray:
    """How often each pair of row and column (n,) occurs: (rows, columns)."""
    return np.bincount(row * columns + column, minlength=rows * columns).reshape(rows, columns)


def limit_curve(curve: Curve, error: np.ndarray, confidence: float = 0.95) -> tuple[np.ndarray, np.ndarray]:
    """Pointwise limits (k,) of S on the scale log(-log S); 0 and 1 where nobody is left to tell.

    Source: Kalbfleisch J. D., Prentice R. L. (1980), as in Klein and Moeschberger, section 4.3.
    """
    z, s = special.ndtri(0.5 + confidence / 2), curve.survival
    with np.errstate(divide="ignore", invalid="ignore"):
        power = np.exp(z * error / -np.log(s))
        low, high = s**power, s ** (1 / power)
    known = (s > 0) & np.isfinite(error)
    # where the last one left, the limits before it still hold above and nothing holds below
    return np.where(known, low, 0.0), np.where(known, high, np.append(1.0, high)[:-1] if len(s) else high)


def find_quantile(curve: Curve, share: float) -> float | None:
    """The first time by which `share` of the items are through; None where the curve doesn't come so far.

    Source: Klein and Moeschberger, section 4.5.
    """
    reached = np.flatnonzero(curve.survival <= 1 - share + 1e-12)
    return float(curve.time[reached[0]]) if len(reached) else None


def limit_quantiles(
    curve: Curve, error: np.ndarray, shares: tuple[float, ...], confidence: float = 0.95
) -> list[tuple[float | None, float | None]]:  # fmt: skip
    """Limits of each quantile: the times between which the curve's limits hold the level; None where they never do.

    Source: Brookmeyer R., Crowley J. (1982) Biometrics 38:29.
    """
    edges = [curve._replace(survival=edge) for edge in limit_curve(curve, error, confidence)]
    return [tuple(find_quantile(edge, share) for edge in edges) for share in shares]


def limit_quantile(curve: Curve, error: np.ndarray, share: float, confidence: float = 0.95) -> tuple[float | None, float | None]:
    """The same of one quantile."""
    return limit_quantiles(curve, error, (share,), confidence)[0]
