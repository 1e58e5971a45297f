"""Comparisons of rates against published numbers and against each other."""

import numpy as np
import pytest
from scipy import stats

from pipeline.figures.statistics.intervals import garwood
from pipeline.figures.statistics.pareto import find_tied, resample_shares
from pipeline.figures.statistics.rates import (
    compare_rates,
    compare_years,
    limit_common_rate,
    measure_dispersion,
    measure_interaction,
)

PUMPS = [5, 1, 5, 14, 3, 19, 1, 1, 4, 22]
HOURS = [94.32, 15.72, 62.88, 125.76, 5.24, 31.44, 1.048, 1.048, 2.096, 10.48]


def test_ratio_of_rates_of_rs_help_page():
    # R's help page of poisson.test: c(11, 6 + 8 + 7), c(800, 1083 + 1050 + 878); computed with R 4.2.2
    found = compare_rates(11, 800, 21, 3011)
    assert (found.ratio, found.low, found.high) == pytest.approx((1.971488, 0.858426, 4.277266), abs=1e-6)
    assert found.p == pytest.approx(0.0796686, abs=1e-7)


def test_a_ratio_to_nothing_found_is_not_bounded_above():
    """By hand: 5 of 5 events in one half of the exposure, so the low limit of the share is .025 ^ (1/5)."""
    found = compare_rates(5, 10, 0, 10)
    share = 0.025 ** (1 / 5)
    assert (found.ratio, found.high) == (None, None)
    assert found.low == pytest.approx(share / (1 - share)) and found.p == pytest.approx(2 / 2**5)
    assert compare_rates(0, 10, 0, 10) == (None, 0.0, None, 1.0)


def test_turning_a_ratio_round_turns_its_limits():
    one, other = compare_rates(7, 30, 12, 41), compare_rates(12, 41, 7, 30)
    assert (1 / one.ratio, 1 / one.high, 1 / one.low) == pytest.approx((other.ratio, other.low, other.high))
    assert one.p == pytest.approx(other.p)


@pytest.mark.parametrize("arguments", [(-1, 1, 1, 1), (1, 0, 1, 1), (1, 1, 1, -2)])
def test_impossible_rates_are_refused(arguments):
    with pytest.raises(ValueError):
        compare_rates(*arguments)


def test_dispersion_of_horse_kicks():
    # Bortkiewicz 1898, deaths by horse kick in 200 corps-years (0: 109, 1: 65, 2: 22, 3: 3, 4: 1), from memory. The mean .61 and
    # the sample variance .611 (199ths) are quoted in many textbooks; X2 = 199 variance / mean.
    deaths = np.repeat([0, 1, 2, 3, 4], [109, 65, 22, 3, 1])
    found = measure_dispersion(deaths, np.ones(200))
    assert found.df == 199 and found.x2 == pytest.approx(199 * deaths.var(ddof=1) / 0.61)
    assert found.phi == pytest.approx(1.0016, abs=5e-4) and 0.4 < found.p < 0.6


def test_dispersion_is_the_homogeneity_test_of_a_table():
    """With exposures it equals scipy's chi-squared against expected counts; an exposure of none is left out."""
    expected = 75 * np.array(HOURS) / sum(HOURS)
    x2, p = stats.chisquare(PUMPS, expected)
    found = measure_dispersion([*PUMPS, 0], [*HOURS, 0])
    assert found[:3] == pytest.approx((x2, 9, p)) and found.phi == pytest.approx(x2 / 9)


@pytest.mark.parametrize("counts, exposures", [([3], [5]), ([], []), ([4, 2], [1, 0])])
def test_one_group_has_no_dispersion(counts, exposures):
    assert measure_dispersion(counts, exposures)[2:] == (None, None)


def test_a_common_rate_is_as_wide_as_its_groups_ask():
    alike = limit_common_rate([10, 20, 30], [1, 2, 3])
    assert alike == pytest.approx([limit / 6 for limit in garwood(60)])
    low, high = limit_common_rate([2, 10, 48], [1, 2, 3])
    assert low < alike[0] and high > alike[1]
    # by hand: X2 = (2-10)^2/10 + (10-20)^2/20 + (48-30)^2/30 = 22.2, phi 11.1, t(2) = 4.302653
    assert (low, high) == pytest.approx([10 * np.exp(sign * 4.302653 * np.sqrt(11.1 / 60)) for sign in (-1, 1)])
    assert limit_common_rate([0, 0], [1, 2]) == pytest.approx((0, garwood(0)[1] / 3))
    assert limit_common_rate([], []) is None


def test_years_of_groups_with_equal_exposures():
    """The ratio is that of the totals, 100 to 50; its standard error sqrt(1/100 + 1/50), times sqrt(phi), with t of the df."""
    found = [20, 10, 30, 40], [50.0] * 4, [10, 5, 15, 20], [50.0] * 4
    plain, wide = compare_years(*found), compare_years(*found, phi=2.5, df=6)
    assert plain.ratio == wide.ratio == pytest.approx(2)
    assert (plain.low, plain.high) == pytest.approx([2 * np.exp(sign * 1.959964 * np.sqrt(0.03)) for sign in (-1, 1)])
    assert (wide.low, wide.high) == pytest.approx([2 * np.exp(sign * 2.446912 * np.sqrt(0.075)) for sign in (-1, 1)])
    assert plain.p == pytest.approx(2 * stats.norm.sf(np.log(2) / np.sqrt(0.03)))
    assert compare_years([0, 0], [1, 1], [2, 3], [1, 1]) is None and compare_years([], [], [], []) is None


def test_years_are_compared_within_groups():
    """One group ten times worse came in late: the totals rise, no group does."""
    found = compare_years([10, 100], [10, 10], [10, 1], [10, 0.1])
    assert found.ratio == pytest.approx(1) and compare_rates(110, 20, 11, 10.1).low > 2.5


def test_interaction_is_that_of_a_table_of_counts():
    """With equal exposures expected counts are those of a contingency table: scipy's chi-squared over its df."""
    table = np.array([[12, 30, 7], [25, 22, 19], [9, 40, 3]])
    x2, _, df, _ = stats.chi2_contingency(table, correction=False)
    assert measure_interaction(table, np.full((3, 3), 4.0)) == pytest.approx((x2 / df, df))
    assert measure_interaction(np.full((4, 5), 6), np.ones((4, 5))) == (1.0, 12)
    assert measure_interaction(np.zeros((3, 3)), np.ones((3, 3))) == (1.0, 0)
    assert measure_interaction(np.array([[3, 5]]), np.ones((1, 2))) == (1.0, 0)


def test_shares_of_clusters_that_are_all_alike_have_no_width():
    found = resample_shares(np.tile([6, 3, 1], (7, 1)), np.array([True, True, True]))
    assert found.low == pytest.approx(found.high) and found.share == pytest.approx([0.6, 0.3, 0.1])
    assert found.chance_first == pytest.approx([1, 0, 0]) and found.chance_top3 == pytest.approx([1, 1, 1])


def test_ranks_of_two_even_kinds_are_a_coin_and_the_uncoded_has_none():
    """A and B lead on every second cluster; the last kind is the largest, but it is not ranked."""
    counts = np.array([[9, 0, 1, 20], [0, 9, 1, 20]] * 10)
    found = resample_shares(counts, np.array([True, True, True, False]))
    assert found.chance_first[3] == found.chance_top3[3] == 0 and found.share[3] == pytest.approx(400 / 600)
    assert found.chance_first[:2] == pytest.approx(0.5, abs=0.05) and found.chance_first.sum() == pytest.approx(1)
    assert list(find_tied(counts, np.array([True, True, True, False]))) == [0, 1]


def test_bootstrap_limits_near_the_normal_ones_where_those_hold():
    """Share of A over 60 clusters of 10: standard error from the clusters' own spread."""
    first = np.random.default_rng(4).binomial(10, 0.3, 60)
    found = resample_shares(np.column_stack([first, 10 - first]), np.array([True, True]))
    half = 1.96 * first.std(ddof=1) / 10 / np.sqrt(60)
    middle = first.sum() / 600
    assert (found.low[0], found.high[0]) == pytest.approx((middle - half, middle + half), abs=0.1 * half)


def test_the_first_place_by_student_and_by_the_exact_test():
    """Differences of A and B over five clusters 4 6 5 7 3: t = 5 / (1.5811 / sqrt 5) = 7.07 against 2.776, and scipy's paired test says
    so; 1 1 1 1 1 of A against none vary not at all, but five of five is a coin's work once in 16."""
    a, b = np.array([[9, 5], [11, 5], [10, 5], [12, 5], [8, 5]]).T
    assert stats.ttest_rel(a, b).statistic == pytest.approx(5 / (2.5**0.5 / 5**0.5)) and stats.ttest_rel(a, b).pvalue < 0.05
    every = np.ones(2, bool)
    assert list(find_tied(np.column_stack([a, b]), every)) == [0]
    uneven = np.array([[30, 5], [0, 5], [10, 5], [0, 5], [10, 5]])  # the same totals from one vessel's run of finds
    assert stats.ttest_rel(*uneven.T).pvalue > 0.05 and list(find_tied(uneven, every)) == [0, 1]
    assert list(find_tied(np.array([[1, 0]] * 5), every)) == [0, 1] and list(find_tied(np.array([[1, 0]] * 6), every)) == [0]
    assert stats.binomtest(5, 5).pvalue > 0.05 > stats.binomtest(6, 6).pvalue
    assert not len(find_tied(uneven, np.zeros(2, bool)))


def test_the_same_draws_twice():
    counts = np.random.default_rng(1).poisson(3, (12, 5))
    one, other = (resample_shares(counts, np.ones(5, bool)) for _ in range(2))
    assert all(np.array_equal(a, b) for a, b in zip(one, other, strict=True))


@pytest.mark.parametrize("counts", [np.ones((1, 3)), np.zeros((4, 2))])
def test_nothing_to_draw_from_is_refused(counts):
    with pytest.raises(ValueError):
        resample_shares(counts, np.ones(counts.shape[1], bool))
