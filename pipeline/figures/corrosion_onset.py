"""At what age does corrosion begin? In: figure.corrosion_history, corrosion_look. Out: figure.corrosion_onset and corrosion_model, filled.

Ages are taken to the half year: much finer than looks a year apart, and the curves move by less than .015.
"""

from __future__ import annotations

from datetime import date
from typing import NamedTuple

import duckdb
import numpy as np

from pipeline.figures.apart import Compute, Write, write_each
from pipeline.figures.corrosion_correction import correct_curves
from pipeline.figures.corrosion_detection import CORRECTED, Looks, describe_looks, read_looks
from pipeline.figures.corrosion_model import FEWEST, describe_model
from pipeline.figures.insert import insert_rows
from pipeline.figures.statistics.columns import pick
from pipeline.figures.statistics.onset import fit_onset, read_survival

HEADLINE, SENSITIVITY, NAIVE = (
    "first clean, delayed entry",
    "all units, prevalent left-censored",
    "naive: first finding taken as the day it began",
)
STEP = 0.5
LEAST_START, LEAST_SHOWN = 10, 5  # units watched at the age where a curve starts, and throughout
DRAWS, SEED = 100, 20261
FEW_VESSELS = 3  # below it units are drawn, not vessels


class Units(NamedTuple):
    """Ages in years (n,) between which it began, from which each was watched, the number of its vessel, and what each unit is."""

    left: np.ndarray
    right: np.ndarray
    entry: np.ndarray
    vessel: np.ndarray
    space_category: np.ndarray
    agent: np.ndarray
    lining: np.ndarray


def read_units(con: duckdb.DuckDBPyConnection) -> dict[str, Units]:
    """The units by method, those left out whose age is unknown or whose records contradict."""
    found = con.execute("""
        select is_first_clean, first_look_age, clean_age, found_age, raw_found_age, last_look_age, imo_number, space_category, agent, lining
        from figure.corrosion_history where why_not is null order by unit_id""").fetchnumpy()
    ages = {k: np.ma.filled(np.ma.asarray(v, float), np.nan) for k, v in found.items() if k.endswith("_age")}
    vessel, *words = (np.asarray(found[k], str) for k in ("imo_number", "space_category", "agent", "lining"))
    # numbered once: each of the groups to come counts its vessels several times
    words = [np.unique(vessel, return_inverse=True)[1], *words]
    clean, right = np.nan_to_num(ages["clean_age"]), np.where(np.isnan(ages["found_age"]), np.inf, ages["found_age"])
    first_clean, zero = np.asarray(found["is_first_clean"], bool), np.zeros(len(clean))
    every = Units(clean, right, zero, *words)
    kept = first_clean & (clean >= ages["first_look_age"])
    reported = ~np.isnan(ages["raw_found_age"])
    exact = np.where(reported, ages["raw_found_age"], np.inf)
    before = np.where(reported, np.maximum(ages["raw_found_age"] - STEP, 0), ages["last_look_age"])
    return {
        HEADLINE: pick(every._replace(entry=ages["first_look_age"]), kept),
        SENSITIVITY: pick(every, (clean > 0) | np.isfinite(right)),
        NAIVE: Units(before, exact, zero, *words),
    }


def put_on_grid(units: Units) -> Units:
    """Ages to the nearest step; an interval keeps at least one step, and entry stays at or before its left end."""
    left, entry = (np.round(ages / STEP) * STEP for ages in (units.left, units.entry))
    return units._replace(left=left, entry=entry, right=np.maximum(np.round(units.right / STEP) * STEP, left + STEP))


def count_watched(units: Units, ages: np.ndarray) -> np.ndarray:
    """Units (m,) under watch at each age: come by then, and neither found nor past their last clean look."""
    until = np.where(np.isfinite(units.right), units.right, units.left)
    # who is past it had come before
    come, gone = (np.searchsorted(np.sort(each), ages, "right") for each in (units.entry, until))
    return come - gone


def draw_weights(vessel: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Weights (b, c) of a bootstrap, and which of the c is each unit's (n,): whole vessels drawn with return, or units where there are
    fewer than three vessels."""
    names, number = np.unique(vessel, return_inverse=True)
    if len(names) < FEW_VESSELS:
        number = np.arange(len(vessel))
    size = number.max() + 1
    return np.random.default_rng(SEED).multinomial(size, np.full(size, 1 / size), DRAWS).astype(float), number


def trace_onset(units: Units, with_limits: bool) -> list[tuple]:
    """Rows (age, starts_at, at_risk, share, low, high) of the shown ages; none where too few were watched or had it begin."""
    onsets = int(np.isfinite(units.right).sum())
    grid = put_on_grid(units)
    ages = np.arange(0, 60 + STEP, STEP)
    watched = count_watched(grid, ages)
    if onsets < FEWEST or not (watched >= LEAST_START).any():
        return []
    first = int(np.argmax(watched >= LEAST_START))
    gone = np.flatnonzero(watched[first:] < LEAST_SHOWN)
    # the last interval is shown to its end: those watched at its beginning tell of it
    ages, watched = ages[first:], watched[first:]
    if len(gone):
        ages, watched = ages[: gone[0] + 1], watched[: gone[0] + 1]
    weights, number = draw_weights(units.vessel) if with_limits else (None, None)
    fitted, drawn = fit_onset(*grid[:3], weights, most=3000, tolerance=1e-7, cluster=number)
    clean = read_survival(fitted, ages)
    if clean[0] < 1e-4:
        return []
    share = np.round(1 - clean / clean[0], 6).tolist()
    limits = [[None] * len(ages)] * 2
    if with_limits:
        each = read_survival(fitted, ages, drawn)
        each = each[each[:, 0] > 1e-4]
        limits = widen(share, np.quantile(1 - each / each[:, :1], (0.025, 0.975), axis=0), watched)
    return [
        (float(age), float(ages[0]), int(n), s, low, high)
        for age, n, s, low, high in zip(ages, watched, share, *limits, strict=True)
    ]


def widen(share: list[float], limits: np.ndarray, watched: np.ndarray) -> list[list[float]]:
    """Where none of the watched has begun, no draw has a beginning either: the upper limit is then the exact one of none in so many.

    From there it never falls with age. At the curve's start the share is none by definition. Source: 1 - .025^(1/n), Clopper C. J.,
    Pearson E. S. (1934) Biometrika 26:404, as of independent units.
    """
    low, high = limits
    is_none = (np.array(share) == 0) & (np.arange(len(share)) > 0) & (watched > 0)
    exact = 1 - 0.025 ** (1 / np.maximum(watched, 1))
    return np.round([low, np.maximum.accumulate(np.where(is_none, np.maximum(high, exact), high))], 6).tolist()


def list_groups(units: Units) -> list[tuple[str, str, np.ndarray]]:
    """All, then each kind of space and each agent: dimension, value, which units."""
    groups = [("all", "all", np.ones(len(units.left), bool))]
    for dimension in ("space_category", "agent"):
        words = getattr(units, dimension)
        groups += [(dimension, str(word), words == word) for word in np.unique(words)]
    return groups


def fill(con: duckdb.DuckDBPyConnection, as_of: date) -> Compute:
    """Read looks and units; what is returned computes curves and models."""
    of_method, looks = read_units(con), read_looks(con)
    con.execute("drop table corrosion_look")

    def compute() -> Write:
        curves, models = trace_all(of_method, looks)
        return write_each((insert_rows, "figure.corrosion_onset", curves), (insert_rows, "figure.corrosion_model", models))

    return compute


def trace_all(of_method: dict[str, Units], looks: Looks) -> tuple[list[tuple], list[tuple]]:
    """Curves and models of every method and group: the rows of both tables."""
    curves, models = [], []
    for method, units in of_method.items():
        for dimension, value, which in list_groups(units):
            mine = pick(units, which)
            curves += [(method, dimension, value, *row) for row in trace_onset(mine, method != NAIVE or dimension == "all")]
            models += [(method, dimension, value, *row) for row in describe_model(mine, method != NAIVE and dimension == "all")]
    rows, told = describe_looks(looks)
    models += [(CORRECTED, "all", "all", *row) for row in rows]
    if told is not None:
        curves += correct_curves([row[1:] for row in curves if row[0] == HEADLINE], looks, told)
    return curves, models
