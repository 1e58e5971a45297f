"""Every way to order units, on one past day. In: rows of watch_rows.py. Out: trials, and what the top of each list held.

Each method knows what was known on that day, and learned only from half-years that were over by then.
"""

from __future__ import annotations

from datetime import date
from typing import NamedTuple

import numpy as np

from pipeline.figures.statistics.hazard import fit_hazard
from pipeline.figures.watch_model import RIDGE, RULE, Model, count_events, fit_model, pick_training
from pipeline.figures.watch_rows import OVERLAP, Rows, lay_out, middle_age, score_by_rule

METHODS = ("model", "rule", "oldest_first", "hard_rules", "base_rate")
DRAWS, SEED = 200, 20262
# Fewer vessels than this are too few to draw from alone: limits then are the wider of drawing vessels and drawing units.
FEW_TO_DRAW = 30
LEAST_CHANCE = 1e-9


class Trial(NamedTuple):
    """One method at one half-year: the rows of that day, their scores and (or None) chances, and why there is no list.

    ahead: of the model, by how much its log score (n,) was better than that of one trait alone: age, or the points of the rule.
    """

    cutoff: date
    method: str
    kind: str
    events: int
    rows: Rows
    scores: np.ndarray
    chances: np.ndarray | None
    why_not: str | None
    ahead: dict[str, np.ndarray] | None = None


def score_ahead(training: Rows, now: Rows, chances: np.ndarray) -> dict[str, np.ndarray]:
    """By how much what happened to each unit was likelier by these chances, in logarithms, than by a hazard of age alone, or of points
    of the rule alone, learned from the same rows. A proper score: chance and order both count, and not the first 5 % alone."""

    def tell(p: np.ndarray) -> np.ndarray:
        p = np.clip(p, LEAST_CHANCE, 1 - LEAST_CHANCE)
        return np.where(now.condemned == 1, np.log(p), np.log1p(-p))

    age_else = middle_age(training)
    told = {}
    for name, read in (
        ("oldest_first", lambda rows: lay_out(rows, ("age",), age_else)),
        ("rule", lambda rows: score_by_rule(rows)[:, None]),
    ):
        alone = fit_hazard(read(training), training.condemned, OVERLAP * training.share, RIDGE).chance(read(now))
        told[name] = now.share * (tell(chances) - tell(alone))
    return told


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
        return [
            Trial(cutoff, "model", model.kind, events, now, chances, chances, None, score_ahead(training, now, chances)),
            *trials,
        ]
    return [Trial(cutoff, "model", RULE, events, now, flat, None, model), *trials]


class Draws(NamedTuple):
    """Whole clusters drawn anew: whether they are vessels or units, their names (v,), sorted, and how often (b, v) each draw holds them;
    the first draw is the fleet as it is."""

    by: str
    names: np.ndarray
    counts: np.ndarray


def draw_clusters(rows: Rows) -> list[Draws]:
    """Draws of vessels, and of units where vessels are few; no vessel can differ from itself, so of one vessel only units are drawn."""
    vessels = len(np.unique(rows.vessel))
    kinds = ("unit",) if vessels == 1 else ("vessel", "unit") if vessels < FEW_TO_DRAW else ("vessel",)
    told = []
    for by in kinds:
        names = np.unique(getattr(rows, by))
        share = np.full(len(names), 1 / max(len(names), 1))
        drawn = np.random.default_rng(SEED).multinomial(len(names), share, DRAWS) if len(names) else np.ones((DRAWS, 0))
        told.append(Draws(by, names, np.vstack([np.ones(len(names)), drawn]).astype(float)))
    return told


def take_tops(trial: Trial, draws: list[Draws], shares: tuple[float, ...]) -> list[np.ndarray]:
    """By top share, of each kind of draw and draw: units in the top, condemned among them, units, condemned (k, 4, b)."""
    each = [take_drawn(trial, drawn, shares) for drawn in draws]
    return [np.array(found) for found in zip(*each, strict=True)]


def take_drawn(trial: Trial, drawn: Draws, shares: tuple[float, ...]) -> list[np.ndarray]:
    """The same of one kind of draw (4, b). Rows that tie count in part."""
    kept = ~trial.rows.gone
    scores, happened = trial.scores[kept], trial.rows.condemned[kept]
    order = np.argsort(-scores, kind="stable")
    _, level, size = np.unique(-scores[order], return_inverse=True, return_counts=True)
    even = (np.bincount(level, happened[order], len(size)) / size)[level] if len(size) else happened
    number = np.searchsorted(drawn.names, getattr(trial.rows, drawn.by)[kept])
    # units and condemned units of each draw, from those of each cluster
    total, condemned = (drawn.counts @ np.bincount(number, each, len(drawn.names)) for each in (np.ones(len(number)), happened))
    tops = [np.minimum(total, np.maximum(1, np.floor(total * share + 0.5))) for share in shares]
    for part in (0.3, 1.0):  # the top of a draw rarely reaches beyond the first third of the list
        places = order[: int(np.ceil(len(order) * part))]
        weights = drawn.counts[:, number[places]]
        before = np.cumsum(weights, axis=1) - weights
        if part == 1 or (weights.sum(axis=1) >= np.max(tops, axis=0)).all():
            break
    taken = [(np.clip(top[:, None] - before, 0, weights) @ even[: len(places)]) for top in tops]
    return [np.array([top, hits, total, condemned]) for top, hits in zip(tops, taken, strict=True)]
