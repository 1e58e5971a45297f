"""Is the model better than what is simpler, by more than chance? In: the model's past lists. Out: a probability and words.

Not the first 5 % alone is asked, which hold a few condemned units and are won or lost by luck: of fleets whose outcomes followed nothing
every other one had won more half-years than it had lost. Asked is a proper score of all chances against those of age alone.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy import stats

from pipeline.figures.watch_trials import Trial

LEAST_WINS = 2
FALSE_ALARM = 0.05
LEAST_VESSELS = 5  # fewer tell next to nothing of how much vessels differ


class Lead(NamedTuple):
    """Log score ahead of age alone and of the rule alone, summed over past half-years, and the one-sided p of the former."""

    oldest: float
    rule: float
    p: float


def measure_ahead(ahead: np.ndarray, clusters: np.ndarray) -> tuple[float, float]:
    """Distance of the sum of ahead (n,) from nothing in standard errors, clusters (n,) being what is independent, and its one-sided p.

    Source: Diebold F. X., Mariano R. S. (1995) J. Business and Economic Statistics 13:253, with clusters for runs of time; t for few
    clusters as in Cameron A. C., Miller D. L. (2015) J. Human Resources 50:317 (both from memory).
    """
    names, number = np.unique(clusters, return_inverse=True)
    sums, count = np.bincount(number, ahead, len(names)), len(names)
    if count < 2:
        return 0.0, 1.0
    error = float(np.sqrt(((sums - sums.mean()) ** 2).sum() * count / (count - 1)))
    if error < 1e-12:
        return 0.0, 1.0
    z = float(sums.sum()) / error
    return z, float(stats.t.sf(z, count - 1))


def find_lead(trials: list[Trial]) -> Lead | None:
    """The lead of the model's lists; of units and vessels as clusters the more doubtful counts. None without a list."""
    told = [trial for trial in trials if trial.ahead is not None]
    if not told:
        return None
    oldest, rule = (np.concatenate([trial.ahead[name] for trial in told]) for name in ("oldest_first", "rule"))
    units, vessels = (np.concatenate([getattr(trial.rows, name) for trial in told]) for name in ("unit", "vessel"))
    p = measure_ahead(oldest, units)[1]
    if len(np.unique(vessels)) >= LEAST_VESSELS:
        p = max(p, measure_ahead(oldest, vessels)[1])
    return Lead(float(oldest.sum()), float(rule.sum()), p)


def refuse_model(lead: Lead | None, won: int, lost: int, tried: str) -> str | None:
    """Why the model is not used, None where it is."""
    if lead is None:
        return "no past half-year had enough condemned units, told of by then, to try it"
    if lead.p >= FALSE_ALARM:
        return f"its chances in past half-years were not better than those of age alone by more than chance (one-sided p {lead.p:.2f})"
    if lead.rule < 0:
        return "the four plain signs told more of past half-years than it did"
    if won < LEAST_WINS or won <= lost:
        return tried
    return None
