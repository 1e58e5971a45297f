"""Does the model still hold? In: the model's past lists. Out: condemned units expected and seen in the last year that is over."""

from __future__ import annotations

from typing import Any

import numpy as np


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


def check_last(trials: list[Any]) -> tuple:
    """Day of the last list whose year is over, condemned units expected and seen, and the chance of a count so far out on either side.

    All None where there was none. Units that were watched for part of the year count in part. Vessels differ more than chance alone, so
    only a small p (below .01) is taken as a sign.
    """
    told = [trial for trial in trials if trial.chances is not None]
    if not told:
        return None, None, None, None
    last = told[-1]
    chances, seen = last.chances * last.rows.share, int(last.rows.condemned.sum())
    spread = count_distribution(chances)
    p = min(1.0, 2 * min(spread[: seen + 1].sum(), spread[seen:].sum()))
    return last.cutoff, round(float(chances.sum()), 6), seen, round(float(p), 6)
