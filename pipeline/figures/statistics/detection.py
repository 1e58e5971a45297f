"""Onset where a look may miss what is there or report what is not.

In: each unit's ages at its looks and what each look said. Out: a Weibull curve of onset, how well looks see it as it grows, and how
often they report what is not there.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize, special

from pipeline.figures.statistics.weibull import find_covariance

# Parts of the age at the first look: the interval before it is long, and what began just before it is missed most easily.
PARTS = (0.4, 0.65, 0.8, 0.92)
# Of log scale, log shape, logit of seeing what has just begun, its rise a year, logit of passing what is sound: ages in years, looks
# not much worse than a coin, finds of a sound unit the exception
EDGES = ((-0.7, 6.2), (-1.2, 2.3), (-3.0, 5.0), (0.0, 1.5), (0.7, 7.0))

MOST_KEPT = 24


class Detection(NamedTuple):
    """Shape and scale (years) of onset; chance that a look sees what has just begun, what its logit gains a year, chance that it passes
    what is sound; covariance (5, 5) of their logs and logits, 0 where one was given or lies at its edge."""

    shape: float
    scale: float
    sensitivity: float
    growth: float
    specificity: float
    covariance: np.ndarray
    log_likelihood: float


class Histories(NamedTuple):
    """Logarithms of the edges (n, c + 1) of the spells in which it may have begun; hit, looked (n, 1, m).

    Of the k looks after it had begun alone, since they are less than half of all: their places (k,) among (n, c, m), years since it began
    (k,), and what was said (k,): 1 it is there, -1 it is not. kept: what the functions below have worked out, by their numbers.
    """

    log_edges: np.ndarray
    hit: np.ndarray
    looked: np.ndarray
    after: np.ndarray
    since: np.ndarray
    said: np.ndarray
    kept: dict


def lay_out(unit: ArrayLike, age: ArrayLike, found: ArrayLike) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Ages, inf where none, found and looked (n, m) of n units with at most m looks. ValueError where ages aren't above 0.

    Looks (k,) may come in any order; those of one unit are put in order of age.
    """
    unit, age, found = np.asarray(unit), np.asarray(age, float), np.asarray(found, bool)
    if not len(age) or not (age > 0).all():
        raise ValueError("each look needs an age above 0")
    order = np.lexsort((age, unit))
    _, first, number = np.unique(unit[order], return_index=True, return_inverse=True)
    place = np.arange(len(order)) - first[number]
    shape = len(first), int(place.max()) + 1
    ages, hit, looked = np.full(shape, np.inf), np.zeros(shape, bool), np.zeros(shape, bool)
    ages[number, place], hit[number, place], looked[number, place] = age[order], found[order], True
    return ages, hit, looked


def divide_lives(ages: np.ndarray, hit: np.ndarray, looked: np.ndarray) -> Histories:
    """The spells between looks. What began in one is taken as begun in its middle, for how well later looks see it."""
    zero, end = np.zeros((len(ages), 1)), np.full((len(ages), 1), np.inf)
    edges = np.concatenate([zero, ages[:, :1] * np.array(PARTS), ages, end], axis=1)
    middle = np.where(np.isfinite(edges[:, 1:]), (edges[:, 1:] + edges[:, :-1]) / 2, 0.0)
    looks = np.where(looked, ages, 0.0)[:, None, :]
    after = (looks >= edges[:, 1:, None]) & looked[:, None, :]
    said = np.where(np.broadcast_to(hit[:, None, :], after.shape)[after], 1.0, -1.0)
    with np.errstate(divide="ignore"):
        logs = np.log(edges)
    return Histories(
        logs, hit[:, None, :], looked[:, None, :], np.flatnonzero(after), (looks - middle[:, :, None])[after], said, {}
    )


def weigh_units(theta: np.ndarray, of: Histories, is_first_clean: bool) -> np.ndarray:
    """Log likelihood (n,) of each unit's looks, given that the first was clean where so asked.

    Source: the likelihood of an interval-censored onset under misclassified looks, as in Gu X., Ma Y., Balasubramanian R. (2015)
    Annals of Applied Statistics 9:714 (from memory): the sum over spells of P(onset in it) times the chance of all looks. That the first
    was clean, and that sight grows with age since onset, are the project's additions.
    """
    chance = weigh_spells(tuple(theta[:2].tolist()), of)
    whole, first = weigh_looks(tuple(theta[2:].tolist()), of)
    told = special.logsumexp(chance + whole, axis=1)
    return told - special.logsumexp(chance + first, axis=1) if is_first_clean else told


def keep(of: Histories, key: tuple, found: Any) -> Any:
    """What was found, kept for as long as few others came after it: searches move some numbers and leave the others."""
    while len(of.kept) >= MOST_KEPT:
        of.kept.pop(next(iter(of.kept)))
    of.kept[key] = found
    return found


def weigh_spells(curve: tuple[float, float], of: Histories) -> np.ndarray:
    """Log chance (n, c) that it began in each spell, by log scale and log shape."""
    if curve in of.kept:
        return of.kept[curve]
    steep = np.exp(curve[1]) * (of.log_edges - curve[0])
    return keep(of, curve, np.log(np.maximum(-np.diff(np.exp(-np.exp(np.minimum(steep, 50))), axis=1), 1e-300)))


def weigh_sight(sight: tuple[float, float], of: Histories) -> np.ndarray:
    """Log chance (k,) of what each look said that came after it had begun."""
    key = ("sight", *sight)
    found = of.kept.get(key)
    return keep(of, key, special.log_expit(of.said * (sight[0] + sight[1] * of.since))) if found is None else found


def weigh_looks(sight: tuple[float, float, float], of: Histories) -> tuple[np.ndarray, np.ndarray]:
    """Log chance (n, c) of all that a unit's looks said, and of the first alone, had it begun in each spell."""
    if sight in of.kept:
        return of.kept[sight]
    sound = np.where(of.looked, special.log_expit(np.where(of.hit, -sight[2], sight[2])), 0.0)
    each = np.broadcast_to(sound, (len(sound), of.log_edges.shape[1] - 1, sound.shape[2])).copy()
    each.reshape(-1)[of.after] = weigh_sight(sight[:2], of)
    return keep(of, sight, (each.sum(axis=2), each[:, :, 0].copy()))


def fit_detection(
    unit: ArrayLike, age: ArrayLike, found: ArrayLike, looks: tuple[float, float, float] | None = None,
    is_first_clean: bool = False, cluster: ArrayLike | None = None,
) -> Detection:  # fmt: skip
    """Likeliest Weibull onset with what looks see, or with (sensitivity, growth, specificity) given; `cluster` (k,) as in fit_weibull.

    With `is_first_clean` only units clean at their first look count, and only what came after it: whoever removed corroded units before
    then biases it little. ValueError as in lay_out, where nothing was found, or the looks don't settle the curve. Source: as weigh_units.
    """
    ages, hit, looked = lay_out(unit, age, found)
    names = np.unique(np.asarray(unit), return_index=True)[1]
    group = np.arange(len(ages)) if cluster is None else np.asarray(cluster)[names]
    kept = ~hit[:, 0] if is_first_clean else np.ones(len(ages), bool)
    if not hit[kept].any():
        raise ValueError("no look found any")
    of = divide_lives(ages[kept], hit[kept], looked[kept])
    begin = np.array([np.log(np.median(np.asarray(age, float)) * 1.5), np.log(1.5), 0.5, 0.3, 3.5])
    if looks is not None:
        begin[2:] = special.logit(looks[0]), looks[1], special.logit(looks[2])
    edges = [*EDGES[:2], *(EDGES[2:] if looks is None else [(v, v) for v in begin[2:]])]
    result = optimize.minimize(
        lambda theta: -float(weigh_units(theta, of, is_first_clean).sum()), np.clip(begin, *np.transpose(edges)), method="L-BFGS-B",
        bounds=edges, options={"maxiter": 200, "ftol": 1e-11},
    )  # fmt: skip
    theta = result.x
    free = np.flatnonzero([low + 1e-3 < value < high - 1e-3 for value, (low, high) in zip(theta, edges, strict=True)])
    if not {0, 1} <= set(free):
        raise ValueError("the looks don't settle the curve")
    covariance = np.zeros((5, 5))
    covariance[np.ix_(free, free)] = find_spread(theta, free, of, is_first_clean, None if cluster is None else group[kept])
    sens, spec = special.expit(theta[[2, 4]]).tolist()
    return Detection(
        float(np.exp(theta[1])), float(np.exp(theta[0])), sens, float(theta[3]), spec, covariance, -float(result.fun)
    )


def find_spread(theta: np.ndarray, free: np.ndarray, of: Histories, is_first_clean: bool, group: np.ndarray | None) -> np.ndarray:
    """Covariance of the free numbers, clustered where asked. ValueError where the fit is no maximum."""
    step = 1e-3 * np.eye(5)[free]

    def rise(at: np.ndarray) -> np.ndarray:
        return (
            np.column_stack([weigh_units(at + s, of, is_first_clean) - weigh_units(at - s, of, is_first_clean) for s in step])
            / 2e-3
        )

    curved = -np.array([(rise(theta + s).sum(axis=0) - rise(theta - s).sum(axis=0)) / 2e-3 for s in step])
    return find_covariance(curved, rise(theta), group)
