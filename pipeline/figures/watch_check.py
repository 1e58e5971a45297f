"""Does the model still hold? In: the model's past lists. Out: condemned units expected and seen in the last year that is over,
and whether they stood where the list had them."""

from __future__ import annotations

from typing import Any

import numpy as np

DRAWS, AT_ONCE, SEED = 4000, 200, 20263


def count_distribution(chances: np.ndarray) -> np.ndarray:
    """Probabilities (n + 1,) of 0 to n events of independent chances (n,), one unit after the other.

    Source: the exact Poisson-binomial by convolution, as in Hong Y. (2013) Computational Statistics and Data Analysis 59:41 (from memory).
    """
    spread = np.zeros(len(chances) + 1)
    spread[0] = 1.0
    for n, chance in enumerate(chances):
        spread[1 : n + 2] = spread[1 : n + 2] * (1 - chance) + spread[: n + 1] * chance
        spread[0] *= 1 - chance
    return spread


def tell_order(chances: np.ndarray, condemned: np.ndarray) -> float | None:
    """How likely condemned units stand so far too low or too high among the chances (n,) as these outcomes (n,) do; None where all
    chances are alike.

    The score test of slope 1 of outcomes on the log odds, with the level left free, its distribution drawn from the chances
    themselves. Source: Cox D. R. (1958) Biometrika 45:562 (from memory).
    """
    p = np.clip(chances, 1e-9, 1 - 1e-9)
    weight, logit = p * (1 - p), np.log(p) - np.log1p(-p)
    pull = logit - np.average(logit, weights=weight)
    if np.abs(pull).max() < 1e-9:
        return None
    drawn, chance = [], np.random.default_rng(SEED)
    for _ in range(DRAWS // AT_ONCE):
        drawn.append(((chance.random((AT_ONCE, len(p))) < p) - p) @ pull)
    far, seen = np.abs(np.concatenate(drawn)), abs(float((condemned - p) @ pull))
    return float((1 + (far >= seen - 1e-9).sum()) / (1 + DRAWS))


def check_last(trials: list[Any]) -> tuple:
    """Day of the last list whose year is over, condemned units expected and seen, the chance of a count so far out on either side, and
    that of condemned units so far out of the order given.

    All None where there was none. Units that were watched for part of the year count in part. Vessels differ more than chance alone, so
    only a small p (below .005 of either) is taken as a sign.
    """
    told = [trial for trial in trials if trial.chances is not None]
    if not told:
        return None, None, None, None, None
    last = told[-1]
    chances, seen = last.chances * last.rows.share, int(last.rows.condemned.sum())
    spread = count_distribution(chances)
    p = min(1.0, 2 * min(spread[: seen + 1].sum(), spread[seen:].sum()))
    order = tell_order(chances, last.rows.condemned)
    return last.cutoff, round(float(chances.sum()), 6), seen, round(float(p), 6), None if order is None else round(order, 6)
