"""Which kinds come first, and how sure that is. In: counts by cluster and kind. Out: shares with limits, chances of a rank."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

DRAWS, SEED = 2000, 20_261_031
SURE = 0.8  # first place is claimed from this chance on


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


def find_tied(chance_first: np.ndarray, sure: float = SURE) -> np.ndarray:
    """Indices of the kinds among which the first place lies with a chance of at least `sure`, likeliest first.

    One index: that kind is first. More: they can't be told apart.
    """
    order = np.argsort(-chance_first, kind="stable")
    needed = int(np.searchsorted(np.cumsum(chance_first[order]), sure - 1e-12)) + 1
    return order[:needed]
