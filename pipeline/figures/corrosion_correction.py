"""The curve of onset with what looks miss and invent allowed for. In: looks, and what they see. Out: rows of figure.corrosion_onset."""

from __future__ import annotations

import numpy as np

from pipeline.figures.corrosion_detection import CORRECTED, Looks, count_units, fit_jointly, thin_out
from pipeline.figures.corrosion_model import FEWEST, find_reach, is_settled
from pipeline.figures.statistics.columns import pick
from pipeline.figures.statistics.detection import Detection


def fit_group(looks: Looks, told: Detection) -> Detection | None:
    """The curve of these units, with looks that see as well as all looks do; None where they are too few."""
    looks = thin_out(looks)
    if count_units(looks)[1] < 2 * FEWEST:
        return None
    found = fit_jointly(looks, (told.sensitivity, told.growth, told.specificity))
    if isinstance(found, str) or not is_settled(
        np.sqrt(np.diag(found.covariance)[:2].max()), find_reach(len(np.unique(looks.vessel)))
    ):
        return None
    return found


def trace_curve(told: Detection, vessels: int, ages: np.ndarray, start: float) -> np.ndarray:
    """Share with onset by each age (m,) of units clean at `start`, and its limits: (3, m), by the delta method on the log of the risk."""

    def risk(log_scale: float, log_shape: float) -> np.ndarray:
        shape, scale = np.exp(log_shape), np.exp(log_scale)
        return np.log(np.maximum((ages / scale) ** shape - (start / scale) ** shape, 1e-12))

    at, step = (np.log(told.scale), np.log(told.shape)), 1e-4
    slopes = np.array(
        [risk(at[0] + step, at[1]) - risk(at[0] - step, at[1]), risk(at[0], at[1] + step) - risk(at[0], at[1] - step)]
    )
    slopes /= 2 * step
    error = np.sqrt(np.einsum("im,ij,jm->m", slopes, told.covariance[:2, :2], slopes))
    return -np.expm1(-np.exp(risk(*at) + find_reach(vessels) * error * np.array([[0], [-1], [1]])))


def correct_curves(headline: list[tuple], looks: Looks, told: Detection) -> list[tuple]:
    """Rows of the corrected method at the ages at which the headline's curve stands."""
    rows = []
    for dimension, value in dict.fromkeys(row[:2] for row in headline):
        mine = [row for row in headline if row[:2] == (dimension, value)]
        picked = looks if dimension == "all" else pick(looks, getattr(looks, dimension) == value)
        fitted = told if dimension == "all" else fit_group(picked, told)
        if fitted is not None:
            ages = np.array([row[2] for row in mine])
            limits = np.round(trace_curve(fitted, len(np.unique(picked.vessel)), ages, mine[0][3]), 6).T.tolist()
            rows += [(CORRECTED, *row[:5], *shares) for row, shares in zip(mine, limits, strict=True)]
    return rows
