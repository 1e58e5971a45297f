"""Curves of those still waiting: late entry, clusters, limits and quantiles."""

import numpy as np
import pytest

from pipeline.figures.statistics.lifetimes import (
    find_quantile,
    kaplan_meier,
    limit_curve,
    limit_quantile,
    measure_cluster_error,
    measure_error,
)


def test_late_entry_by_hand():
    # by hand, and R survival: entry 0 0 2 3 5, exit 4 6 5 9 8, event 1 1 0 1 1
    found = kaplan_meier([0, 0, 2, 3, 5], [4, 6, 5, 9, 8], [1, 1, 0, 1, 1])
    assert found.time.tolist() == [4, 6, 8, 9] and found.at_risk.tolist() == [4, 3, 2, 1]
    assert found.survival == pytest.approx([0.75, 0.5, 0.25, 0])
    assert kaplan_meier(None, [4, 6, 5, 9, 8], [1, 1, 0, 1, 1]).at_risk[0] == 5


def test_greenwood_and_each_item_its_own_cluster_are_the_same():
    """Within the factor m / (m - 1) of m clusters; an item alone in a cluster is independent of the others."""
    chance = np.random.default_rng(6)
    until, event = chance.integers(1, 30, 200).astype(float), chance.random(200) < 0.7
    curve = kaplan_meier(None, until, event)
    alone = measure_cluster_error(curve, None, until, event, np.arange(200))
    kept = curve.at_risk > curve.events
    assert alone[kept] == pytest.approx(measure_error(curve)[kept] * (200 / 199) ** 0.5)


def test_items_doubled_tell_no_more_when_their_cluster_is_known():
    chance = np.random.default_rng(7)
    until, event = chance.integers(1, 30, 80).astype(float), chance.random(80) < 0.8
    one, two = kaplan_meier(None, until, event), kaplan_meier(None, np.tile(until, 2), np.tile(event, 2))
    same = measure_cluster_error(two, None, np.tile(until, 2), np.tile(event, 2), np.tile(np.arange(80), 2))
    assert two.survival == pytest.approx(one.survival)
    assert same[:-1] == pytest.approx(measure_cluster_error(one, None, until, event, np.arange(80))[:-1])
    assert (measure_error(two) < measure_error(one))[:-1].all()


def test_limits_and_quantiles_by_hand():
    """Ten items, one each day: S(5) = .5, error of -log S(5) = sum 1 / (n (n - 1)) over n = 10..6 = (1/5 - 1/10) ** .5."""
    curve = kaplan_meier(None, np.arange(1, 11), np.ones(10))
    error = measure_error(curve)
    assert error[4] == pytest.approx(0.1**0.5)
    low, high = limit_curve(curve, error)
    power = np.exp(1.959964 * 0.1**0.5 / np.log(2))
    assert (low[4], high[4]) == pytest.approx((0.5**power, 0.5 ** (1 / power)), abs=1e-6)
    assert find_quantile(curve, 0.5) == 5 and find_quantile(curve, 0.9) == 9
    bounds = limit_quantile(curve, error, 0.5)
    assert bounds[0] < 5 < bounds[1]
    assert find_quantile(kaplan_meier(None, [1, 2, 3], [1, 0, 0]), 0.5) is None


def test_nothing_happened_and_impossible_times():
    empty = kaplan_meier(None, [3, 4], [0, 0])
    assert not len(empty.time) and find_quantile(empty, 0.5) is None
    for entry, until in (([2], [2]), ([3], [1])):
        with pytest.raises(ValueError):
            kaplan_meier(entry, until, [1])
    with pytest.raises(ValueError):
        measure_cluster_error(kaplan_meier(None, [1, 2], [1, 1]), None, [1, 2], [1, 1], [0, 0])
