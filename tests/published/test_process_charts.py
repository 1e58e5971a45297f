"""Charts over time against published examples."""

from datetime import date
from types import SimpleNamespace

import numpy as np
import pytest

from pipeline.figures.on_time_chart import chart_duty
from pipeline.figures.statistics.process_charts import (
    WEIGHT,
    chart_laney,
    chart_p,
    find_run_length,
    judge_runs,
    smooth,
    spread_smoothed,
)

# NIST/SEMATECH e-Handbook 6.3.3.2: defective chips on 30 wafers of 50 (by way of public test files that quote it)
WAFERS = [12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22, 8, 10, 5, 13, 11, 20, 18, 24, 15, 9, 12, 7, 13, 9, 6]
# Montgomery, table 7.4, as in the public tests of the R package qicharts2
ORDERS = ([12, 8, 6, 9, 10, 12, 11, 16, 10, 6, 20, 15, 9, 8, 6, 8, 10, 7, 5, 8, 5, 8, 10, 6, 9],
          [100, 80, 80, 100, 110, 110, 100, 100, 90, 90, 110, 120, 120, 120, 110, 80, 80, 80, 90, 100, 100, 100, 100, 90, 90])  # fmt: skip
# NIST/SEMATECH e-Handbook 6.3.2.4
SERIES = [52, 47, 53, 49.3, 50.1, 47, 51, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
SMOOTHED = [50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38,
            49.92, 50.73, 51.23, 51.94, 51.99]  # fmt: skip


def list_outside(chart) -> list[int]:
    return [int(place) + 1 for place in np.flatnonzero(chart.is_outside)]


def test_shares_of_equal_samples():
    found = chart_p(WAFERS, [50] * 30)
    assert (found.centre, found.high[0], found.low[0]) == pytest.approx((0.231333, 0.410239, 0.052428), abs=2e-6)
    assert list_outside(found) == [15, 23]


def test_shares_without_the_two_that_were_explained():
    # Montgomery, example 7.1, as in the public tests of qicharts2 (which takes runs about the mean)
    kept = [count for place, count in enumerate(WAFERS, start=1) if place not in (15, 23)]
    found = chart_p(kept, [50] * 28)
    assert (found.centre, found.high[0], found.low[0]) == pytest.approx((0.215, 0.389297, 0.040703), abs=1e-6)
    assert judge_runs(np.array(kept) / 50, found.centre)[1:] == (5, 8, 13, 9)


def test_shares_of_unequal_samples():
    found = chart_p(*ORDERS)
    by_size = {n: (found.high[i], found.low[i]) for i, n in enumerate(ORDERS[1])}
    assert found.centre == pytest.approx(0.0955102, abs=1e-7)
    assert by_size[100] == pytest.approx((0.1836857, 0.0073347), abs=1e-7)
    assert by_size[80] == pytest.approx((0.1940934, 0), abs=1e-7)
    assert by_size[120] == pytest.approx((0.1760031, 0.0150173), abs=1e-7)
    assert list_outside(found) == [11]


def test_laney_by_hand():
    """Five months of 100: 40 60 40 60 50; centre .5, s .05, z -2 2 -2 2 0, mean distance (4 + 4 + 4 + 2) / 4 = 3.5."""
    found = chart_laney([40, 60, 40, 60, 50], [100] * 5)
    assert found.centre == pytest.approx(0.5) and found.z == pytest.approx([-2, 2, -2, 2, 0])
    assert found.sigma_z == pytest.approx(3.5 / 1.128)
    half = 3 * 0.05 * 3.5 / 1.128
    assert found.low == pytest.approx([0.5 - half] * 5) and found.high == pytest.approx([0.5 + half] * 5)
    assert not found.is_outside.any()


def test_a_frozen_baseline_is_not_moved_by_what_follows():
    """The same five months, then one of 1,000 with one in ten: limits by its own size, judged by the first five."""
    found = chart_laney([40, 60, 40, 60, 50, 100], [100] * 5 + [1000], baseline=5)
    assert found.centre == pytest.approx(0.5) and found.sigma_z == pytest.approx(3.5 / 1.128)
    half = 3 * (0.25 / 1000) ** 0.5 * 3.5 / 1.128
    assert (found.low[5], found.high[5]) == pytest.approx((0.5 - half, 0.5 + half)) and list_outside(found) == [6]


@pytest.mark.parametrize("done, due", [([], []), ([3], [5]), ([5, 5], [5, 5]), ([0, 0, 0], [5, 5, 4])])
def test_no_limits_without_both_outcomes(done, due):
    assert chart_laney(done, due) is None


def test_many_chance_outcomes_have_a_spread_of_about_one():
    due = np.full(4000, 300)
    found = chart_laney(np.random.default_rng(2).binomial(300, 0.2, 4000), due)
    assert found.sigma_z == pytest.approx(1, abs=0.04) and found.is_outside.mean() < 0.01


# longest run and fewest crossings at 10 .. 60 points: log2 n + 3 rounded, and the 5 % point of binomial(n - 1, 1/2) by R
@pytest.mark.parametrize(
    "points, allowed, least", [(10, 6, 2), (12, 7, 3), (20, 7, 6), (24, 8, 8), (30, 8, 10), (36, 8, 13), (48, 9, 18), (60, 9, 23)]
)
def test_limits_of_runs(points, allowed, least):
    found = judge_runs([0, 1] * (points // 2))
    assert (found.points, found.allowed, found.least) == (points, allowed, least)
    assert (found.longest, found.crossings, found.is_signal) == (1, points - 1, False)


def test_runs_about_a_given_middle():
    """By hand: off the middle 3 are 1 1 5 5 5 4: a run of 4 and one crossing; the value on it is dropped."""
    assert judge_runs([1, 1, 5, 3, 5, 5, 4], 3.0)[:4] == (6, 4, 6, 1)
    assert judge_runs([5] * 12, 3.0).is_signal and not judge_runs([3, 3], 3.0).is_signal
    assert judge_runs([]) == (0, 0, 0, 0, 0)


def test_smoothing():
    found = smooth(SERIES, 50, 0.3)
    assert found == pytest.approx(SMOOTHED, abs=0.005000001)
    half = 3 * 2.0539 * (0.3 / 1.7) ** 0.5
    assert (50 + half, 50 - half) == pytest.approx((52.5884, 47.4115), abs=2e-4)
    assert 3 * 2.0539 * spread_smoothed(60, 0.3)[-1] == pytest.approx(half, abs=1e-6)


# Lucas J. M., Saccucci M. S. (1990) Technometrics 32:1 has these designs; lengths computed with the R package spc
@pytest.mark.parametrize(
    "weight, sigmas, steady, shifted",
    [(0.05, 2.615, 499.93, 11.38), (0.1, 2.814, 499.58, 10.33), (0.2, 2.962, 499.74, 10.54), (0.25, 2.998, 499.84, 11.14),
     (0.4, 3.054, 499.95, 14.26), (0.1, 2.7, 368.99, 9.73)],
)  # fmt: skip
def test_how_long_until_a_smoothed_chart_signals(weight, sigmas, steady, shifted):
    assert find_run_length(weight, sigmas) == pytest.approx(steady, abs=0.01)
    assert find_run_length(weight, sigmas, 1.0) == pytest.approx(shifted, abs=0.006)


def test_the_months_are_judged_by_the_design_with_500_points_between_false_signals():
    """The fleet's chart draws its smoothed limits at 2.962 of the design with weight .2 above: seen in what it draws, month by month."""
    rows = [
        SimpleNamespace(month_end=date(2020 + n // 12, 1 + n % 12, 28), duty="d", fell_due=100, done_in_time=85 + 5 * (n % 2))
        for n in range(60)
    ]
    far = [row[15] for row in chart_duty(rows)]
    assert far[0] == pytest.approx(2.962 * 0.2) and far[-1] == pytest.approx(2.962 * (0.2 / 1.8) ** 0.5, abs=1e-5)
    assert find_run_length(WEIGHT, far[-1] / (WEIGHT / (2 - WEIGHT)) ** 0.5) == pytest.approx(499.74, abs=0.1)


def test_a_plain_chart_is_wrong_once_in_370_points():
    """As the weight goes to 1 the smoothed chart is a plain 3-sigma chart: 370.4, the inverse of two normal tails."""
    assert find_run_length(0.9999, 3.0) == pytest.approx(370.4, abs=0.2)
