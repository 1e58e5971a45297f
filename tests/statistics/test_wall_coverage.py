"""Do the limits of a unit's wall loss, drawn to the fleet's mean, hold what they promise?

In: invented units with two readings each, whose true losses are gamma. Out: the share of 95 % limits that hold the truth, beside those from one best
guess of how much units differ, which must fail the same test. Run this module by its name to print the table.
"""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.figures.statistics.pooling import pool
from pipeline.figures.statistics.wall import draw_together, fit_lines

MEAN, GAUGE = 0.045, 0.1  # mm a year; mm
CASES = [(units, gap, cv) for units in (4, 8, 20, 60) for gap, cv in ((5.0, 0.5), (5.0, 0.25), (10.0, 0.5))]


def measure_cover(units: int, gap: float, cv: float, fleets: int) -> tuple[float, float, float]:
    """Held by our limits, below their upper end, and held by limits from one best guess."""
    chance, held, below, plugged = np.random.default_rng(4), [], [], []
    for _ in range(fleets):
        rates = chance.gamma(1 / cv**2, MEAN * cv**2, units)
        last = 3 - rates * gap + chance.normal(0, GAUGE, units)
        walls = np.column_stack([3 + chance.normal(0, GAUGE, units), last])
        found = draw_together(fit_lines([0, gap] * units, walls.ravel(), np.arange(units) * 2), GAUGE)
        joint = pool(found.rate, found.error**2)
        own = joint.tau2 / (joint.tau2 + found.error**2)
        guess, error = own * found.rate + (1 - own) * joint.mean, np.hypot(own**0.5 * found.error, (1 - own) * joint.error)
        held.append(abs(found.shrunk - rates) <= 1.96 * found.shrunk_error)
        below.append(rates <= found.shrunk + 1.96 * found.shrunk_error)
        plugged.append(abs(guess - rates) <= 1.96 * error)
    return float(np.mean(held)), float(np.mean(below)), float(np.mean(plugged))


def test_limits_of_wall_loss_hold_small():
    held, below, plugged = measure_cover(20, 5.0, 0.25, 60)
    assert held >= 0.92 and below >= 0.95 and plugged < 0.9, "one best guess should fail here, or this test has no power"


@pytest.mark.slow
@pytest.mark.parametrize("units, gap, cv", CASES)
def test_limits_of_wall_loss_hold(units, gap, cv):
    held, below, _ = measure_cover(units, gap, cv, 400)
    assert held >= 0.91 and below >= 0.94


if __name__ == "__main__":
    print(
        "| units | years between | cv of losses | held, % | below the upper limit, % | held from one best guess, % |\n|---|---|---|---|---|---|"
    )
    for case in CASES:
        print("| " + " | ".join((*map(str, case), *(f"{100 * v:.1f}" for v in measure_cover(*case, 400)))) + " |")
