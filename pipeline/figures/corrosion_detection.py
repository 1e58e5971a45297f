"""Onset with what looks miss and invent allowed for. In: each unit's services with what they saw. Out: rows of corrosion_model and curves.

In invented fleets whose looks see 55 in 100 of what has just begun the mean scale of this curve came within 5 % of the truth; recorded
intervals gave it 12 to 14 % late, the naive curve 17 to 22 % (tests/statistics/test_corrosion_bias.py).
"""

from __future__ import annotations

from typing import NamedTuple

import duckdb
import numpy as np
from scipy import special

from pipeline.figures.corrosion_model import FEWEST, find_reach, is_settled, write_term
from pipeline.figures.statistics.columns import pick
from pipeline.figures.statistics.detection import Detection, fit_detection

CORRECTED = "first clean, errors of looks allowed for"
LEAST_LOOKS = 3  # of most units, for the records to tell how well looks see
AUDIT = 0.05  # how far assumed values are moved
ASSUMED = (0.80, 0.98)  # sensitivity and specificity of a look, where the records can't tell: a judgement, no source
MOST_UNITS = 3000  # every second, third ... unit of more: minutes of search would tell little more
AFTER_YEARS = 5
TERMS = ("shape", "scale_years", "sensitivity", "sensitivity_5_years", "specificity")


class Looks(NamedTuple):
    """Services (k,): number of the unit, at what age, whether it reported corrosion, and of the unit: number of its vessel, kind of space,
    agent."""

    unit: np.ndarray
    age: np.ndarray
    found: np.ndarray
    vessel: np.ndarray
    space_category: np.ndarray
    agent: np.ndarray


def read_looks(con: duckdb.DuckDBPyConnection) -> Looks:
    """Every service of units that were clean at their first one, in order of unit and age."""
    looks = "from corrosion_look join figure.corrosion_history as history using (unit_id) where why_not is null and is_service"
    # names once a unit: as text on each look they would take most of the time
    units = con.execute(f"""
        select history.imo_number, space_category, agent, count(*) as looks {looks}
        group by unit_id, history.imo_number, space_category, agent order by unit_id""").fetchnumpy()
    found = con.execute(f"select age_years, is_found {looks} order by unit_id, age_years").fetchnumpy()
    age, is_found, counts = (np.asarray(values) for values in (found["age_years"], found["is_found"], units["looks"]))
    first_clean = ~is_found[np.cumsum(counts) - counts].astype(bool)
    kept, number = np.repeat(first_clean, counts), np.repeat(np.arange(len(counts)), counts)
    vessel = np.unique(np.asarray(units["imo_number"], str), return_inverse=True)[1]
    words = (np.asarray(units[name], str) for name in ("space_category", "agent"))
    number = number[kept]
    return Looks(number, age[kept].astype(float), is_found[kept].astype(bool), *(each[number] for each in (vessel, *words)))


def thin_out(looks: Looks) -> Looks:
    """The looks of no more units than a fit can take, evenly over the sorted names."""
    names, number = np.unique(looks.unit, return_inverse=True)
    every = -(-len(names) // MOST_UNITS) if len(names) else 1
    return pick(looks, number % every == 0)


def count_units(looks: Looks) -> tuple[int, int, int]:
    """Units, those ever reported, vessels."""
    return len(np.unique(looks.unit)), len(np.unique(looks.unit[looks.found])), len(np.unique(looks.vessel))


def fit_jointly(looks: Looks, given: tuple[float, float, float] | None = None) -> Detection | str:
    """The fit, or why there is none."""
    try:
        return fit_detection(looks.unit, looks.age, looks.found, given, True, looks.vessel)
    except ValueError as why:
        return str(why)


def describe_joint(told: Detection, counted: tuple[int, int, int]) -> list[tuple]:
    """Rows (term, units, onsets, vessels, estimate, low, high, why_not) of a joint fit."""
    errors, reach = np.sqrt(np.diag(told.covariance)), find_reach(counted[2])
    rows = [write_term("shape", counted, told.shape, errors[1], reach)]
    rows.append(write_term("scale_years", counted, told.scale, errors[0], reach))
    later = np.array([0, 0, 1, AFTER_YEARS, 0.0])
    new, passes = special.logit(told.sensitivity), special.logit(told.specificity)
    spread = float(np.sqrt(later @ told.covariance @ later))
    logits = ((new, errors[2]), (new + AFTER_YEARS * told.growth, spread), (passes, errors[4]))
    for term, (value, error) in zip(TERMS[2:], logits, strict=True):
        rows.append(
            (term, *counted, *(round(float(special.expit(value + side * reach * error)), 6) for side in (0, -1, 1)), None)
        )
    return rows


def describe_assumed(looks: Looks, counted: tuple[int, int, int]) -> list[tuple]:
    """Shape and scale with sensitivity and specificity assumed; their limits from moving each."""
    moves = ((0, 0), (-AUDIT, 0), (AUDIT, 0), (0, -AUDIT), (0, min(AUDIT, 0.999 - ASSUMED[1])))
    fits = [fit_jointly(looks, (ASSUMED[0] + a, 0.0, ASSUMED[1] + b)) for a, b in moves]
    why = next((f for f in fits if isinstance(f, str)), None)
    if why is not None:
        return [(term, *counted, None, None, None, why) for term in TERMS]
    rows = []
    for term, values in (("shape", [f.shape for f in fits]), ("scale_years", [f.scale for f in fits])):
        limits = (round(float(v), 6) for v in (values[0], min(values), max(values)))
        rows.append((term, *counted, *limits, f"limits: sensitivity and specificity assumed, each moved by {AUDIT}"))
    assumed = (ASSUMED[0], ASSUMED[0], ASSUMED[1])
    return [*rows, *((term, *counted, value, None, None, "assumed") for term, value in zip(TERMS[2:], assumed, strict=True))]


def describe_looks(looks: Looks) -> tuple[list[tuple], Detection | None]:
    """Rows of corrosion_model, and the fit where the records told what looks see."""
    looks = thin_out(looks)
    counted = count_units(looks)
    if counted[1] < 2 * FEWEST:
        why = f"{counted[1]} units ever reported; {2 * FEWEST} are needed"
        return [(term, *counted, None, None, None, why) for term in TERMS], None
    if np.median(np.unique(looks.unit, return_counts=True)[1]) >= LEAST_LOOKS:
        told = fit_jointly(looks)
        if not isinstance(told, str) and is_settled(np.sqrt(np.diag(told.covariance)[:2].max()), find_reach(counted[2])):
            return describe_joint(told, counted), told
    return describe_assumed(looks, counted), None
