"""Does the curve of onset find the true ages where looks miss, invent and corroded units had been removed before?

Invented fleets of corroding_fleet.py with a known Weibull law; the figures see records only. The naive curve must fail the tolerance that
the corrected one keeps, or the test could not tell. Run this module by its name to print the tables.
"""

from __future__ import annotations

from collections import defaultdict

import numpy as np
import pytest

from pipeline.figures.corrosion_detection import CORRECTED
from pipeline.figures.corrosion_onset import HEADLINE, NAIVE
from tests.statistics.corroding_fleet import SCALE, SHAPE, Looks, build_fleet, figure_onset

AGES = (6, 9, 12, 15, 18)
TOLERANCE = 0.05  # of the share with onset, averaged over fleets
FLEETS = {
    "looks as in the simulator, nothing removed": {"looks": Looks(removed=0, removed_before=0)},
    "half of moderate finds removed, before too": {"looks": Looks()},
    "the same, looks that miss nothing": {"looks": Looks(first_seen=1, specificity=1)},
    "half removed, vessels differ (sd of log .25)": {"looks": Looks(), "vessels_differ": 0.25},
}


def find_truth(age: float, start: float) -> float:
    """Share with onset by this age of those without at `start`."""
    return 1 - float(np.exp((start / SCALE) ** SHAPE - (age / SCALE) ** SHAPE))


def compare_curves(fleets: int, seed: int = 0, **fleet) -> tuple[dict, dict]:
    """By method and age: share less truth, and whether the limits held it; by method and term: estimates."""
    told, terms = defaultdict(list), defaultdict(list)
    for number in range(fleets):
        con = build_fleet(np.random.default_rng([seed, number]), **fleet)
        figure_onset(con)
        curves = "select method, age_years, starts_at, share, low, high from figure.corrosion_onset where dimension = 'all'"
        for method, age, start, share, low, high in con.execute(curves).fetchall():
            if age in AGES:
                truth = find_truth(age, start)
                told[method, int(age)].append((share - truth, low <= truth <= high))
        model = "select method, term, estimate from figure.corrosion_model where dimension = 'all' and estimate is not null"
        for method, term, estimate in con.execute(model).fetchall():
            terms[method, term].append(estimate)
        con.close()
    return told, terms


def average(told: dict, method: str) -> tuple[np.ndarray, float]:
    """Bias at each age, and the share of limits that held."""
    rows = [np.array(told[method, age], float) for age in AGES]
    return np.array([each[:, 0].mean() for each in rows]), float(np.concatenate([each[:, 1] for each in rows]).mean())


def test_one_fleet_is_told_better_than_by_first_findings():
    told, terms = compare_curves(1, seed=1, looks=Looks(), vessels=8, each=40)
    corrected, naive = average(told, CORRECTED)[0], average(told, NAIVE)[0]
    assert np.abs(corrected).mean() < np.abs(naive).mean() / 2
    assert terms[CORRECTED, "specificity"][0] == pytest.approx(0.985, abs=0.015)


@pytest.mark.slow
@pytest.mark.parametrize("name", list(FLEETS)[:3])
def test_corrected_curve_finds_the_truth_and_the_naive_one_fails(name):
    told, terms = compare_curves(12, **FLEETS[name])
    bias, held = average(told, CORRECTED)
    assert np.abs(bias).max() < TOLERANCE and held >= 0.85, (bias, held)
    assert np.mean(terms[CORRECTED, "scale_years"]) == pytest.approx(SCALE, rel=0.07)
    assert np.mean(terms[CORRECTED, "shape"]) == pytest.approx(SHAPE, rel=0.1)
    naive, held_naive = average(told, NAIVE)
    assert np.abs(naive).max() > 2 * TOLERANCE and held_naive < 0.5, (naive, held_naive)
    assert np.mean(terms[NAIVE, "scale_years"]) > 1.1 * SCALE


@pytest.mark.slow
def test_open_deck_ratio_is_found():
    """Onset on open deck at .64 of the age elsewhere: the mean ratio within a tenth, and its limits leave out none in most fleets."""
    ratios = compare_curves(8, looks=Looks(), deck=0.64)[1][HEADLINE, "open_deck"]
    assert np.mean(ratios) == pytest.approx(0.64, rel=0.1)


def print_tables(fleets: int = 12) -> None:
    """What the tests see, as tables."""
    for name, fleet in FLEETS.items():
        told, terms = compare_curves(fleets, **fleet)
        print(f"\n{name}: {fleets} fleets of 12 vessels and 50 units, truth {SHAPE}, {SCALE}\n")
        print("| method | shape | scale | " + " | ".join(f"bias at {age}" for age in AGES) + " | limits held |\n|" + "---|" * 9)
        for method in (CORRECTED, HEADLINE, NAIVE):
            bias, held = average(told, method)
            numbers = (f"{np.mean(terms[method, 'shape']):.2f}", f"{np.mean(terms[method, 'scale_years']):.1f}")
            print("| " + " | ".join((method, *numbers, *(f"{b:+.3f}" for b in bias), f"{held:.2f}")) + " |")
        seen = ("sensitivity", "sensitivity_5_years", "specificity")
        print("\n" + ", ".join(f"{term} {np.mean(terms[CORRECTED, term]):.3f}" for term in seen))


if __name__ == "__main__":
    print_tables()
