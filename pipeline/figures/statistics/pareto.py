"""Which kinds come first, and how sure that is. In: counts by cluster and kind. Out: shares with limits, chances of a rank."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy import special

DRAWS, SEED = 2000, 20_261_031


class Shares(NamedTuple):
    """Of each kind (k,): its share of all, 95 % limits, the chance that it is the first and one of the first three."""

    share: np.ndarray
    low: np.ndarray
    high: np.ndarray
    chance_first: np.ndarray
    chance_top3: np.ndarray


def resample_shares(counts: np.ndarray, is_ranked: np.ndarray, draws: int = DRAWS, seed: int = SEED) -> Shares:
    """Counts (clusters, kinds), whole clusters drawn with replacement; kinds that aren't ranked count in the shares alone.

    Ties within a draw are broken by a coin of the same seed. ValueError below 2 clusters or where nothing was counted.
    Source: Efron B., Tibshirani R. (1993) An Introduction to the Bootstrap, percentile limits; clusters as the unit of
    resampling as in Davison A. C., Hinkley D. V. (1997) Bootstrap Methods and their Application, section 3.8 (from memory).
    """
    if len(counts) < 2 or not counts.sum():
        raise ValueError("needs two clusters and something counted")
    chance = np.random.default_rng(seed)
    weights = chance.multinomial(len(counts), np.full(len(counts), 1 / len(counts)), draws)
    totals = weights @ counts
    totals = totals[totals.sum(axis=1) > 0]
    shares = totals / totals.sum(axis=1, keepdims=True)
    low, high = np.quantile(shares, (0.025, 0.975), axis=0)
    contest = np.where(is_ranked, totals + chance.random(totals.shape) / 2, -1.0)
    place = np.argsort(np.argsort(-contest, axis=1, kind="stable"), axis=1, kind="stable")
    first, top3 = ((place < most).mean(axis=0) * is_ranked for most in (1, 3))
    return Shares(counts.sum(axis=0) / counts.sum(), low, high, first, top3)


def find_tied(counts: np.ndarray, is_ranked: np.ndarray, confidence: float = 0.95) -> np.ndarray:
    """Indices of the kinds that can't be told from the one found most often, itself first; one index: that kind is first.

    Counts (clusters, kinds). A kind is told from the leader where Student's interval of their differences, cluster by cluster, leaves out
    none, and so does the exact test of all found of the two. Both sides are asked, since the leader was chosen for leading; with more
    kinds than two it has to pass each, so equal kinds are told apart in 5 of 100 fleets at most. None ranked: empty.
    Source: Student (1908) Biometrika 6:1; the exact test of two Poisson counts: Przyborowski J., Wilenski H. (1940) Biometrika 31:313.
    """
    totals = np.where(is_ranked, counts.sum(axis=0), -1)
    if not is_ranked.any():
        return np.array([], int)
    lead, m, tail = int(np.argmax(totals)), len(counts), (1 - confidence) / 2
    apart = counts[:, [lead]] - counts
    reach = special.stdtrit(m - 1, 1 - tail) * apart.std(axis=0, ddof=1) * np.sqrt(m)
    both = totals[lead] + np.maximum(totals, 0)
    is_told = (apart.sum(axis=0) > reach) & (special.bdtrc(totals[lead] - 1, both, 0.5) < tail)
    rest = [i for i in np.argsort(-totals, kind="stable") if i != lead and is_ranked[i] and not is_told[i]]
    return np.array([lead, *rest], int)
