"""Would the list have helped? In: figure.unit_half_year. Out: figure.back_test, back_test_group, watch_model and watch_weight, filled.

At each past half-year every method orders the units of that day from what was known then; 12 months later is told who was condemned.
"""

from __future__ import annotations

from datetime import date
from typing import NamedTuple

import duckdb
import numpy as np

from pipeline.figures.insert import insert_rows
from pipeline.figures.statistics.competing import aalen_johansen
from pipeline.figures.statistics.intervals import wilson
from pipeline.figures.statistics.scores import brier_score, calibrate, count_top, log_score
from pipeline.figures.watch_check import check_last
from pipeline.figures.watch_model import RULE, Model, count_events, fit_model, pick_training
from pipeline.figures.watch_rows import OVERLAP, STEPS, TRAITS, Rows, find_cutoffs, read_rows, score_by_rule

HORIZON = 12
METHODS = ("model", "rule", "oldest_first", "hard_rules", "base_rate")
TOPS = (0.05, 0.10)
DRAWS, SEED = 200, 20262
BANDS = ((0.05, "first 5 %"), (0.20, "next 15 %"), (1.0, "the rest"))
LEAST_WINS = 2
GAIN = 20  # place of gain_5 in a row of figure.back_test


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


def take_top(trial: Trial, vessels: tuple[np.ndarray, np.ndarray], share: float) -> np.ndarray:
    """Of each draw: units in the top share, condemned among them, units, condemned (4, b). Rows that tie count in part."""
    kept = ~trial.rows.gone
    scores, happened = trial.scores[kept], trial.rows.condemned[kept]
    order = np.argsort(-scores, kind="stable")
    _, level, size = np.unique(-scores[order], return_inverse=True, return_counts=True)
    even = (np.bincount(level, happened[order], len(size)) / size)[level] if len(size) else happened
    weights = vessels[1][:, np.searchsorted(vessels[0], trial.rows.vessel[kept])]
    sorted_weights = weights[:, order]
    total = weights.sum(axis=1)
    top = np.minimum(total, np.maximum(1, np.floor(total * share + 0.5)))
    before = np.cumsum(sorted_weights, axis=1) - sorted_weights
    taken = np.clip(top[:, None] - before, 0, sorted_weights)
    return np.array([top, (taken * even).sum(axis=1), total, (weights * happened).sum(axis=1)])


def compare_tops(mine: np.ndarray, oldest: np.ndarray) -> list[float | None]:
    """Top, found, precision with its limits, lift, gain over oldest first with its limits; None where nothing can be told."""
    top, found, total, condemned = (float(v) for v in mine[:, 0])
    if not top:
        return [None] * 9
    precision = found / top
    lift = precision / (condemned / total) if condemned else None
    gains = [m[1] / np.maximum(m[0], 1e-9) for m in (mine, oldest)]
    gain = gains[0] - gains[1]
    limits = [np.quantile(drawn[1:], (0.025, 0.975)) for drawn in (gains[0], gain)]
    return [round_off(v) for v in (top, found, precision, *limits[0], lift, gain[0], *limits[1])]


def round_off(value: float | None) -> float | None:
    """To nine places: the last digits of sums depend on the machine."""
    return None if value is None else round(float(value), 9) + 0.0


def score_chances(trials: list[Trial]) -> list[float | None]:
    """Expected, Brier, its skill against the base rate of the same rows, log score, calibration; None without chances."""
    if any(t.chances is None for t in trials):
        return [None] * 6
    p, y, w = (
        np.concatenate(parts) for parts in zip(*((t.chances, t.rows.condemned, t.rows.share) for t in trials), strict=True)
    )
    if not w.sum():
        return [None] * 6
    brier, share = brier_score(p, y, w), float(np.average(y, weights=w))
    bent = calibrate(p, y, w)
    skill = 1 - brier / (share * (1 - share)) if 0 < share < 1 else None
    told = (w @ p, brier, skill, log_score(p, y, w), bent and bent.intercept, bent and bent.slope)
    return [round_off(v) for v in told]


def describe(cutoff: date | None, trials: list[Trial], oldest: list[np.ndarray], mine: list[np.ndarray]) -> tuple:
    """A row of figure.back_test, of one half-year or of several together. oldest, mine: by top share, as take_top gives them."""
    rows = [t.rows for t in trials]
    why = "; ".join(sorted({t.why_not for t in trials if t.why_not})) or None
    counted = (
        sum(int((~r.gone).sum()) for r in rows),
        sum(int(r.condemned[~r.gone].sum()) for r in rows),
        sum(int(r.gone.sum()) for r in rows),
    )
    tops = [None] * 18 if why else [v for m, o in zip(mine, oldest, strict=True) for v in compare_tops(m, o)]
    scores = [None] * 6 if why else score_chances(trials)
    last = trials[-1]
    return (cutoff, HORIZON, last.method, last.kind, last.events, *counted, *scores, *tops, why)


def run_back_test(rows: Rows, cutoffs: list[date]) -> tuple[list[tuple], list[Trial]]:
    """Rows of figure.back_test, and the model's trials that had a list."""
    vessels = draw_vessels(rows) if len(rows.unit) else (np.array([], str), np.ones((1, 0)))
    found, tops = {}, {}
    for cutoff in cutoffs:
        for trial in try_methods(rows, cutoff):
            found[cutoff, trial.method] = trial
            tops[cutoff, trial.method] = [take_top(trial, vessels, share) for share in TOPS]
    told = [
        describe(cutoff, [found[cutoff, method]], tops[cutoff, "oldest_first"], tops[cutoff, method])
        for cutoff in cutoffs for method in METHODS
    ]  # fmt: skip
    # together: the half-years in which the model had a list, so that all are told on the same ones; all where it never had
    modelled = [cutoff for cutoff in cutoffs if not found[cutoff, "model"].why_not]
    if shared := modelled or cutoffs:
        summed = {m: [sum(tops[c, m][n] for c in shared) for n in range(len(TOPS))] for m in METHODS}
        told += [describe(None, [found[c, m] for c in shared], summed["oldest_first"], summed[m]) for m in METHODS]
    return told, [found[cutoff, "model"] for cutoff in modelled]


def group_rows(trials: list[Trial]) -> list[tuple]:
    """Rows of figure.back_test_group, from lists a year apart, counted back from the last: each condemnation stands in one of them."""
    kept = [t for t in trials if t.chances is not None and (trials[-1].cutoff.month == t.cutoff.month)]
    if not kept:
        return []
    chance, happened, band = [], [], []
    for trial in kept:
        which = ~trial.rows.gone
        place = np.empty(which.sum(), int)
        place[np.argsort(-trial.scores[which], kind="stable")] = np.arange(which.sum())
        chance.append(trial.chances[which])
        happened.append(trial.rows.condemned[which])
        band.append(np.searchsorted([count_top(int(which.sum()), share) for share, _ in BANDS], place, side="right"))
    p, y, b = (np.concatenate(parts) for parts in (chance, happened, band))
    fifth = np.empty(len(p), int)
    fifth[np.argsort(p, kind="stable")] = 5 * np.arange(len(p)) // max(len(p), 1)
    told = []
    for name, number, labels in (
        ("fifth", fifth, [f"fifth {n}" for n in range(1, 6)]),
        ("band", b, [label for _, label in BANDS]),
    ):
        for n, label in enumerate(labels):
            which = number == n
            units, condemned = int(which.sum()), int(y[which].sum())
            if units:
                limits = wilson(condemned, units)
                told.append(
                    (name, n + 1, label, units, round_off(p[which].mean()), condemned, condemned / units, *map(round_off, limits))
                )
    return told


def judge_list(rows: Rows, model: Model | str, told: list[tuple]) -> tuple[str, str, int, int]:
    """Kind of list, why in words, half-years won and lost against oldest first by condemned units in the first 5 %."""
    gains = [row[GAIN] for row in told if row[0] is not None and row[2] == "model" and row[6] and row[GAIN] is not None]
    won, lost = sum(g > 1e-9 for g in gains), sum(g < -1e-9 for g in gains)
    if isinstance(model, str):
        return RULE, f"{model}, so units are ordered by four plain signs and no chance is given", won, lost
    tried = f"in {won} of {len(gains)} past half-years the model's first 5 % held more condemned units than the oldest 5 %, in {lost} fewer"
    if won < LEAST_WINS or won <= lost:
        return RULE, f"a model was fitted and is not used: {tried}; units are ordered by four plain signs", won, lost
    if model.kind == "bands":
        return model.kind, f"{model.events} condemned units carry three traits, told as bands; {tried}", won, lost
    return model.kind, f"{model.events} condemned units carry eight traits and chances; {tried}", won, lost


def find_shares(rows: Rows) -> tuple[float | None, float | None]:
    """Share condemned, and share gone for another reason, within 12 months of a half-year's start."""
    known = rows.pick(~np.isnan(rows.condemned))
    if not len(known.unit):
        return None, None
    cause = np.where(known.condemned == 1, 1, np.where(known.gone, 2, 0))
    # condemned within the year, on a day that the share of the year does not tell: at its middle
    time = np.where(cause == 1, 0.5, known.share)
    return tuple(round_off(v) for v in aalen_johansen(time, cause, 2).at(1.0))


def write_weights(model: Model) -> list[tuple]:
    """Odds of each trait by its step, with limits from the wider of the two errors."""
    told = []
    for n, trait in enumerate(model.traits):
        step = STEPS.get(trait, 1.0) / model.hazard.scale[n]
        error = np.sqrt(max(model.hazard.covariance[n + 1, n + 1], model.robust[n + 1, n + 1]))
        odds = [float(np.exp(step * (model.hazard.beta[n] + side * model.reach * error))) for side in (0, -1, 1)]
        told.append((trait, TRAITS[trait], *map(round_off, odds)))
    return told


def fill(con: duckdb.DuckDBPyConnection, as_of: date) -> None:
    """Fill the four tables."""
    rows = read_rows(con)
    cutoffs = find_cutoffs(rows)
    told, trials = run_back_test(rows, cutoffs)
    insert_rows(con, "figure.back_test", told)
    insert_rows(con, "figure.back_test_group", group_rows(trials))
    training = pick_training(rows, np.datetime64(as_of))
    model = fit_model(training)
    kind, why, won, lost = judge_list(rows, model, told)
    counted = (
        len(np.unique(training.vessel)),
        len(np.unique(training.unit)),
        len(np.unique(training.starts)),
        count_events(training),
    )
    insert_rows(con, "figure.watch_model", [(kind, why, *counted, won, lost, *find_shares(rows), *check_last(trials))])
    if isinstance(model, Model) and kind != RULE:
        insert_rows(con, "figure.watch_weight", write_weights(model))
