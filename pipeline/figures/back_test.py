"""Would the list have helped? In: figure.unit_half_year. Out: figure.back_test, back_test_group, back_test_condemned, watch_model and watch_weight, filled.

At each past half-year every method orders the units of that day from what was known then; 12 months later is told who was condemned.
"""

from __future__ import annotations

from datetime import date

import duckdb
import numpy as np

from pipeline.figures.insert import insert_rows
from pipeline.figures.statistics.competing import aalen_johansen
from pipeline.figures.watch_check import check_last
from pipeline.figures.watch_gate import find_lead, refuse_model
from pipeline.figures.watch_model import RULE, Model, count_events, fit_model, pick_training
from pipeline.figures.watch_rows import STEPS, TRAITS, Rows, find_cutoffs, read_rows
from pipeline.figures.watch_scores import describe, group_rows, list_condemned, place_units, round_off
from pipeline.figures.watch_trials import METHODS, Trial, draw_clusters, take_tops, try_methods

TOPS = (0.05, 0.10)
GAIN = 20  # place of gain_5 in a row of figure.back_test


def run_back_test(rows: Rows, cutoffs: list[date]) -> tuple[list[tuple], list[Trial]]:
    """Rows of figure.back_test, and the model's trials that had a list."""
    draws = draw_clusters(rows)
    found, tops = {}, {}
    for cutoff in cutoffs:
        for trial in try_methods(rows, cutoff):
            found[cutoff, trial.method] = trial
            tops[cutoff, trial.method] = take_tops(trial, draws, TOPS)
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


def judge_list(model: Model | str, told: list[tuple], trials: list[Trial]) -> tuple[str, str, int, int]:
    """Kind of list, why in words, half-years won and lost against oldest first by condemned units in the first 5 %."""
    gains = [row[GAIN] for row in told if row[0] is not None and row[2] == "model" and row[6] and row[GAIN] is not None]
    won, lost = sum(g > 1e-9 for g in gains), sum(g < -1e-9 for g in gains)
    if isinstance(model, str):
        return RULE, f"{model}, so units are ordered by four plain signs and no chance is given", won, lost
    tried = f"in {won} of {len(gains)} past half-years the model's first 5 % held more condemned units than the oldest 5 %, in {lost} fewer"
    lead = find_lead(trials)
    if why := refuse_model(lead, won, lost, tried):
        return RULE, f"a model was fitted and is not used: {why}; units are ordered by four plain signs", won, lost
    better = f"its chances in past half-years were better than those of age alone by more than chance (one-sided p {write_p(lead.p)}); {tried}"
    carried = "three traits, told as bands" if model.kind == "bands" else "eight traits and chances"
    return model.kind, f"{model.events} condemned units carry {carried}; {better}", won, lost


def write_p(p: float) -> str:
    """'0.03', 'below 0.001'."""
    return "below 0.001" if p < 0.001 else f"{p:.3f}"


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
    """Fill the five tables."""
    rows = read_rows(con)
    cutoffs = find_cutoffs(rows)
    told, trials = run_back_test(rows, cutoffs)
    insert_rows(con, "figure.back_test", told)
    placed = place_units(trials)
    insert_rows(con, "figure.back_test_group", group_rows(placed))
    insert_rows(con, "figure.back_test_condemned", list_condemned(placed))
    training = pick_training(rows, np.datetime64(as_of), is_now=True)
    model = fit_model(training)
    kind, why, won, lost = judge_list(model, told, trials)
    counted = (
        len(np.unique(training.vessel)),
        len(np.unique(training.unit)),
        len(np.unique(training.starts)),
        count_events(training),
    )
    insert_rows(con, "figure.watch_model", [(kind, why, *counted, won, lost, *find_shares(rows), *check_last(trials))])
    if isinstance(model, Model) and kind != RULE:
        insert_rows(con, "figure.watch_weight", write_weights(model))
