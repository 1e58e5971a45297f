"""Which model the records can carry, and its fit. In: rows of watch_rows.py. Out: a fitted model, or the reason why there is none.

Up to 10 condemned units the rule of four terms, without chances; up to 40 a model of three traits, told as bands; beyond, eight traits
and chances. The limits were found by simulation: with ten events a fitted model orders no better than the rule, and its chances are off.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy import stats

from pipeline.figures.statistics.hazard import Hazard, fit_hazard
from pipeline.figures.watch_rows import EIGHT, OVERLAP, THREE, Rows, end_of_year, forget_later, lay_out, middle_age

FEW_EVENTS, MANY_EVENTS = 10, 40
RIDGE = 10.0
RULE, BANDS, CHANCES = "rule", "bands", "chances"
FEW_VESSELS = 3


class Model(NamedTuple):
    """The fit, its traits, the age that stands for an unknown one, how many units had been condemned, and errors of the coefficients."""

    kind: str
    traits: tuple[str, ...]
    age_else: float
    events: int
    hazard: Hazard
    robust: np.ndarray
    reach: float

    def lay_out(self, rows: Rows) -> np.ndarray:
        """Standardised features (n, k)."""
        return self.hazard.standardise(lay_out(rows, self.traits, self.age_else))

    def chance(self, rows: Rows) -> np.ndarray:
        """Chance (n,) of condemnation within 12 months, if kept aboard."""
        # rounded, so that units alike tie whatever the last digits of a product of matrices are
        return np.round(self.hazard.chance(lay_out(rows, self.traits, self.age_else)), 10)

    def limits(self, rows: Rows) -> tuple[np.ndarray, np.ndarray]:
        """95 % limits (n,) of the chance: of what units like it have, not of what befalls this one."""
        z = np.column_stack([np.ones(len(rows.unit)), self.lay_out(rows)])
        logit = self.hazard.intercept + z[:, 1:] @ self.hazard.beta
        spread = self.reach * np.sqrt(
            np.maximum(*(np.einsum("ij,jk,ik->i", z, c, z) for c in (self.hazard.covariance, self.robust)))
        )
        return tuple(1 / (1 + np.exp(-(logit + side * spread))) for side in (-1, 1))


def pick_training(rows: Rows, cutoff: np.datetime64, is_now: bool = False) -> Rows:
    """Rows whose 12 months were over on that day, with outcomes as known then; is_now: as known now."""
    known = rows.pick(~np.isnan(rows.condemned)) if is_now else forget_later(rows, cutoff)
    return known.pick(end_of_year(known.starts) <= cutoff)


def count_events(rows: Rows) -> int:
    """Units condemned, each once however many half-years looked ahead to it."""
    return len(np.unique(rows.unit[rows.condemned == 1]))


def choose_kind(events: int) -> str:
    """What that many condemned units can carry."""
    return RULE if events <= FEW_EVENTS else BANDS if events <= MANY_EVENTS else CHANCES


def fit_model(training: Rows) -> Model | str:
    """The model that these rows can carry, or in words why none."""
    events = count_events(training)
    kind = choose_kind(events)
    if kind == RULE:
        return f"{events} {'unit' if events == 1 else 'units'} condemned in the records to learn from; more than {FEW_EVENTS} are needed"
    traits = EIGHT if kind == CHANCES else THREE
    age_else = middle_age(training)
    weights = OVERLAP * training.share
    try:
        hazard = fit_hazard(lay_out(training, traits, age_else), training.condemned, weights, RIDGE)
    except ValueError as why:
        return str(why)
    vessels = len(np.unique(training.vessel))
    robust = cluster_errors(hazard, training, lay_out(training, traits, age_else), weights)
    reach = float(stats.t.ppf(0.975, vessels - 1) if vessels >= FEW_VESSELS else stats.norm.ppf(0.975))
    return Model(kind, traits, age_else, events, hazard, robust, reach)


def cluster_errors(hazard: Hazard, rows: Rows, features: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """Covariance (k+1, k+1) where vessels, not rows, are what is independent; units where there are fewer than three vessels.

    Source: Liang K.-Y., Zeger S. L. (1986) Biometrika 73:13, with V / (V - 1) for few clusters (from memory).
    """
    names, number = np.unique(rows.vessel, return_inverse=True)
    if len(names) < FEW_VESSELS:
        names, number = np.unique(rows.unit, return_inverse=True)
    z = np.column_stack([np.ones(len(rows.unit)), hazard.standardise(features)])
    pull = z * (weights * (rows.condemned - hazard.chance(features)))[:, None]
    sums = np.zeros((len(names), z.shape[1]))
    np.add.at(sums, number, pull)
    # each half of an overlap repeats the other, so that the halved weights count it once here too
    return hazard.covariance @ (sums.T @ sums) @ hazard.covariance * len(names) / max(len(names) - 1, 1)
