"""When something began, known only to lie between two looks.

In: for each unit the last age at which it was clean, the first at which it was not, and the age from which it was watched. Out: the
curve of those still clean, without any assumed shape.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy import sparse


class Onset(NamedTuple):
    """Mass (k,) in each interval (left, right] (k,) that may hold any; `log_likelihood` of the intervals given entry."""

    left: np.ndarray
    right: np.ndarray
    mass: np.ndarray
    log_likelihood: float


def check_intervals(left: ArrayLike, right: ArrayLike, entry: ArrayLike | None) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """As arrays (n,), entry 0 where none is given; ValueError unless 0 <= entry <= left < right throughout."""
    low, high = np.asarray(left, float), np.asarray(right, float)
    come = np.zeros(len(low)) if entry is None else np.asarray(entry, float)
    if not low.shape == high.shape == come.shape or not ((come >= 0) & (come <= low) & (low < high)).all():
        raise ValueError("each unit needs 0 <= entry <= left < right")
    return low, high, come


def find_support(left: np.ndarray, right: np.ndarray, entry: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Innermost intervals (q, p]: q a left end, p the next right end or entry with no other end between.

    Source: Turnbull B. W. (1976) J. R. Stat. Soc. B 38:290; entries close an interval too: Frydman H. (1994) same journal 56:71.
    """
    ends = np.unique(np.concatenate([right, entry[entry > 0]]))
    starts = np.unique(left)
    place = np.searchsorted(ends, starts, "right")
    starts, place = starts[place < len(ends)], place[place < len(ends)]
    last = np.append(place[1:] != place[:-1], True) if len(place) else np.zeros(0, bool)
    return starts[last], ends[place[last]]


class Alike(NamedTuple):
    """Units alike in one respect: what may hold the onset, or what was watched (g, k), and the group (n,) of each unit."""

    rows: np.ndarray
    group: np.ndarray

    def gather(self, weights: np.ndarray, cluster: np.ndarray | None = None) -> np.ndarray:
        """Weights (b, g) of the groups from those of the units (b, n), or of the clusters (b, c) of which each unit (n,) is."""
        place = np.arange(len(self.group)) if cluster is None else cluster
        member = sparse.csr_array((np.ones(len(place)), (self.group, place)), shape=(len(self.rows), weights.shape[1]))
        return (member @ weights.T).T


def put_together(first: np.ndarray, last: np.ndarray, count: int) -> Alike:
    """Units (n,) whose intervals number first to last of `count` are the same."""
    kinds, group = np.unique(first * (count + 1) + last, return_inverse=True)
    begin, end = np.divmod(kinds, count + 1)
    place = np.arange(count)
    return Alike(((place >= begin[:, None]) & (place < end[:, None])).astype(float), group.ravel())


def spread_mass(
    inside: Alike, beyond: Alike, weights: np.ndarray, most: int, tolerance: float, near: np.ndarray | None = None,
    cluster: np.ndarray | None = None,
) -> np.ndarray:  # fmt: skip
    """Masses (b, k) by self-consistency for weights, as gather takes them; `inside`, `beyond`: what may hold the onset, what was watched."""
    size = inside.rows.shape[1]
    even = np.full(size, 1 / size)
    # begun near what all units gave, but with no interval empty: empty ones stay so
    mass = np.tile(even if near is None else 0.9 * near + 0.1 * even, (len(weights), 1))
    within, given = inside.rows, inside.gather(weights, cluster)
    late = ~(beyond.rows > 0).all(axis=1)
    watched, unseen, came = beyond.rows[late], 1 - beyond.rows[late], beyond.gather(weights, cluster)[:, late]
    into_within, into_watched, is_late = within.T, watched.T, bool(late.any())
    # thousands of steps on small arrays: what a call costs beside its work is what these cost, hence the bare ufuncs
    for _ in range(most):
        new = (given / np.maximum(mass @ into_within, 1e-300)) @ within
        if is_late:
            # for each unit watched late, those that would have been seen had they not begun before
            new += (came / np.maximum(mass @ into_watched, 1e-300)) @ unseen
        new *= mass
        new /= np.add.reduce(new, axis=1, keepdims=True)
        moved = np.subtract(new, mass, out=mass)
        mass = new
        if np.maximum.reduce(np.abs(moved, out=moved), axis=None) < tolerance:
            break
    return mass


def fit_onset(
    left: ArrayLike, right: ArrayLike, entry: ArrayLike | None = None, weights: ArrayLike | None = None,
    most: int = 20_000, tolerance: float = 1e-9, cluster: ArrayLike | None = None,
) -> tuple[Onset, np.ndarray]:  # fmt: skip
    """The likeliest masses of onsets in (left, right], right inf where none was seen, of units watched from `entry` on.

    With weights (b, n) also the masses (b, k) of each weighting on the same intervals (a bootstrap), or with weights (b, c) of the clusters
    to which the units (n,) belong; the first return is of all units once.
    ValueError as in check_intervals, and where there is no unit. Source: as find_support; where a unit was watched late, Turnbull's
    ghosts stand for those that had begun before.
    """
    low, high, come = check_intervals(left, right, entry)
    if not len(low):
        raise ValueError("no unit to tell from")
    start, end = find_support(low, high, come)
    size = len(start)
    # the intervals are in order and apart, so a unit's are neighbours: thousands of units have few different ones
    inside = put_together(np.searchsorted(start, low), np.searchsorted(end, high, "right"), size)
    beyond = put_together(np.searchsorted(start, come), np.full(len(come), size), size)
    once = np.ones((1, len(low)))
    mass = spread_mass(inside, beyond, once, most, tolerance)[0]
    told = [float(of.gather(once)[0] @ np.log(np.maximum(of.rows @ mass, 1e-300))) for of in (inside, beyond)]
    likelihood = told[0] - told[1]
    drawn = np.zeros((0, size))
    if weights is not None:
        drawn = spread_mass(inside, beyond, np.asarray(weights, float), 300, 1e-5, mass, cluster)
    return Onset(start, end, mass, likelihood), drawn


def read_survival(onset: Onset, ages: ArrayLike, mass: np.ndarray | None = None) -> np.ndarray:
    """Share still clean at each age (m,), or (b, m) of masses (b, k); mass counts at the right end of its interval."""
    of = onset.mass if mass is None else mass
    return 1 - of @ (onset.right[:, None] <= np.asarray(ages, float)[None, :] + 1e-9).astype(float)
