"""Every way to order units, on one past day. In: rows of watch_rows.py. Out: trials, and what the top of each list held.

Each method knows what was known on that day, and learned only from half-years that were over by then.
"""

from __future__ import annotations

from datetime import date
from typing import NamedTuple

import numpy as np

from pipeline.figures.watch_model import RULE, Model, count_events, fit_model, pick_training
from pipeline.figures.watch_rows import OVERLAP, Rows, score_by_rule

METHODS = ("model", "rule", "oldest_first", "hard_rules", "base_rate")
DRAWS, SEED = 200, 20262


class Trial(NamedTuple):
    """One method at one half-year: the rows of that day, their scores and (or None) chances, and why there is no list."""

    cutoff: date
    method: str
    kind: str
    events: int
    rows: Rows
    scores: np.ndarray
    chances: np.ndarray | None
    why_not: str | None


def try_methods(rows: Rows, cutoff: date) -> list[Trial]:
    """Every method on one day."""
    day = np.datetime64(cutoff)
    now = rows.pick((rows.starts == day) & ~np.isnan(rows.condemned))
    training = pick_training(rows, day)
    events, model = count_events(training), fit_model(training)
    weight = (OVERLAP * training.share).sum()
    base = float((OVERLAP * training.share * training.condemned).sum() / weight) if weight else 0.0
    flat, age = np.zeros(len(now.unit)), np.where(np.isnan(now.age), -1, now.age)
    # without any event before, a chance of nothing would be too sure
    chance = flat + base if 0 < base < 1 else None
    trials = [
        Trial(cutoff, method, RULE, events, now, scores, chances, None)
        for method, scores, chances in (
            ("rule", score_by_rule(now), None), ("oldest_first", age, None), ("hard_rules", now.hard, None), ("base_rate", flat, chance),
        )
    ]  # fmt: skip
    if isinstance(model, Model):
        chances = model.chance(now)
        return [Trial(cutoff, "model", model.kind, events, now, chances, chances, None), *trials]
    return [Trial(cutoff, "model", RULE, events, now, flat, None, model), *trials]


def draw_vessels(rows: Rows) -> tuple[np.ndarray, np.ndarray]:
    """Names (v,) of vessels, sorted, and how often (b, v) each draw holds them; the first draw is the fleet as it is."""
    names = np.unique(rows.vessel)
    drawn = np.random.default_rng(SEED).multinomial(len(names), np.full(len(names), 1 / len(names)), DRAWS)
    return names, np.vstack([np.ones(len(names)), drawn]).astype(float)


def take_tops(trial: Trial, vessels: tuple[np.ndarray, np.ndarray], shares: tuple[float, ...]) -> list[np.ndarray]:
    """By top share, of each draw: units in the top, condemned among them, units, condemned (4, b). Rows that tie count in part."""
    kept = ~trial.rows.gone
    scores, happened = trial.scores[kept], trial.rows.condemned[kept]
    order = np.argsort(-scores, kind="stable")
    _, level, size = np.unique(-scores[order], return_inverse=True, return_counts=True)
    even = (np.bincount(level, happened[order], len(size)) / size)[level] if len(size) else happened
    number = np.searchsorted(vessels[0], trial.rows.vessel[kept])
    # units and condemned units of each draw, from those of each vessel
    total, condemned = (vessels[1] @ np.bincount(number, each, len(vessels[0])) for each in (np.ones(len(number)), happened))
    tops = [np.minimum(total, np.maximum(1, np.floor(total * share + 0.5))) for share in shares]
    for part in (0.3, 1.0):  # the top of a draw rarely reaches beyond the first third of the list
        places = order[: int(np.ceil(len(order) * part))]
        weights = vessels[1][:, number[places]]
        before = np.cumsum(weights, axis=1) - weights
        if part == 1 or (weights.sum(axis=1) >= np.max(tops, axis=0)).all():
            break
    taken = [(np.clip(top[:, None] - before, 0, weights) @ even[: len(places)]) for top in tops]
    return [np.array([top, hits, total, condemned]) for top, hits in zip(tops, taken, strict=True)]
