"""The Weibull curves of onset. In: units as corrosion_onset.py reads them. Out: rows of corrosion_model.

A row is (term, units, onsets, vessels, estimate, low, high, why_not).
"""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy import stats

from pipeline.figures.statistics.weibull import Weibull, fit_weibull

FEWEST = 10  # onsets below which no curve is fitted
FEWEST_EACH = 10  # onsets for each number fitted
LOOSEST = 20  # times an estimate: limits beyond that say nothing
LEAST_EACH_SIDE = 5  # onsets with a trait and without it
TRAITS = (
    ("open_deck", "space_category", ("open_deck",)),
    ("machinery", "space_category", ("machinery",)),
    ("lined", "lining", ("zinc", "epoxy_polyester", "other")),
    ("co2", "agent", ("co2",)),
)


def find_reach(vessels: int) -> float:
    """How many standard errors a limit lies away: Student's quantile on vessels - 1, the normal one below three vessels."""
    return float(stats.t.ppf(0.975, vessels - 1) if vessels > 2 else stats.norm.ppf(0.975))


def is_settled(error: float, reach: float) -> bool:
    """Whether the logarithm's limits lie near enough to say anything; not where its error is no number."""
    return bool(reach * error <= np.log(LOOSEST))


def write_term(term: str, counted: tuple[int, int, int], estimate: float, error: float, reach: float) -> tuple:
    """Estimate and limits of a number whose logarithm has this error, or why it has none."""
    if not is_settled(error, reach):
        return (
            term,
            *counted,
            None,
            None,
            None,
            f"not settled by these records: its limits lie more than {LOOSEST} times apart from it",
        )
    return (term, *counted, *(round(float(estimate * np.exp(side * reach * error)), 6) for side in (0, -1, 1)), None)


def fit(units: Any, traits: np.ndarray | None = None) -> Weibull | str:
    """The fit, or why there is none."""
    try:
        return fit_weibull(units.left, units.right, units.entry, traits, units.vessel)
    except ValueError as why:
        return str(why)


def describe_model(units: Any, with_traits: bool) -> list[tuple]:
    """Shape and scale of these units, and the ratios of their traits where asked for."""
    onsets, vessels = int(np.isfinite(units.right).sum()), len(np.unique(units.vessel))
    counted = len(units.left), onsets, vessels
    rows: list[tuple] = [("units", *counted, None, None, None, None)]
    none = (None, None, None)
    why = f"{onsets} {'onset' if onsets == 1 else 'onsets'} seen; {FEWEST} are needed"
    found = fit(units) if onsets >= FEWEST else why
    reach = find_reach(vessels)
    if isinstance(found, str):
        rows += [(term, *counted, *none, found) for term in ("shape", "scale_years")]
    else:
        errors = np.sqrt(np.diag(found.covariance))
        rows.append(write_term("shape", counted, found.shape, errors[-1], reach))
        rows.append(write_term("scale_years", counted, found.scale, errors[0], reach))
    if with_traits:
        rows += compare_traits(units, counted, reach)
    return rows


def compare_traits(units: Any, counted: tuple[int, int, int], reach: float) -> list[tuple]:
    """The ratio of ages at onset with a trait and without, all traits held against each other in one fit."""
    has = {name: np.isin(getattr(units, column), values) for name, column, values in TRAITS}
    seen = np.isfinite(units.right)
    usable = [name for name, is_so in has.items() if min((seen & is_so).sum(), (seen & ~is_so).sum()) >= LEAST_EACH_SIDE]
    # open deck and machinery are told against all other spaces
    why: dict[str, str] = {
        name: f"fewer than {LEAST_EACH_SIDE} onsets on one side: {int((seen & is_so).sum())} with, {int((seen & ~is_so).sum())} without"
        for name, is_so in has.items() if name not in usable
    }  # fmt: skip
    # in the order of TRAITS, as many as the onsets can carry beside shape and scale
    most = max(counted[1] // FEWEST_EACH - 2, 0)
    why |= {
        name: f"{counted[1]} onsets can carry {most + 2} numbers, {FEWEST_EACH} onsets for each, and others were taken first"
        for name in usable[most:]
    }
    usable = usable[:most]
    found = fit(units, np.column_stack([has[name] for name in usable]).astype(float)) if usable else ""
    if usable and isinstance(found, str):
        why |= {name: found for name in usable}
    rows = []
    for name in has:
        if name in why:
            rows.append((name, *counted, None, None, None, why[name]))
        else:
            place = 1 + usable.index(name)
            rows.append(write_term(name, counted, np.exp(found.beta[place]), found.covariance[place, place] ** 0.5, reach))
    return rows
