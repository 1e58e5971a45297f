"""Funnels and overdispersion against published or independently computed numbers."""

import numpy as np
import pytest
from scipy import stats

from pipeline.figures.statistics.funnel import (
    find_least_ratio,
    find_tails,
    limit_binomial,
    limit_normal,
    limit_spread,
    measure_root_spread,
    measure_spread,
    winsorise,
)
from pipeline.figures.statistics.intervals import wilson

# Spiegelhalter D. J. (2005) Stat. Med. 24:1185, the appendix's formula; numbers computed with R's qbinom. Common share .1, chances
# .001, .025, .975, .999.
EXACT = {
    20: (-0.049589, -0.039718, 0.228468, 0.335172), 50: (-0.016119, 0.013863, 0.179723, 0.240128),
    100: (0.014179, 0.040381, 0.157719, 0.198357), 200: (0.037852, 0.057691, 0.140972, 0.168567),
    500: (0.059989, 0.073448, 0.126015, 0.142689),
}  # fmt: skip


@pytest.mark.parametrize("size, limits", EXACT.items())
def test_exact_limits(size, limits):
    found = [limit_binomial(0.1, np.array([size]), chance)[0] for chance in (0.001, 0.025, 0.975, 0.999)]
    assert found == pytest.approx(limits, abs=1e-6)


@pytest.mark.parametrize("common, size", [(0.0, 10), (1.0, 10), (0.1, 0), (0.1, 2.5)])
def test_what_has_no_exact_limit_is_refused(common, size):
    with pytest.raises(ValueError):
        limit_binomial(common, np.array([size]), 0.975)


def test_limits_by_the_normal():
    # the public test values of PHEindicatormethods (UK Health Security Agency), testdata_funnel_prop_outputs.csv: baseline 80.642448 %
    low, high = limit_normal(0.80642448, [3, 10, 41], 0.95)
    assert low == pytest.approx([0.35933491, 0.56154344, 0.68548635], abs=1e-8)
    assert high[2] == pytest.approx(0.9273626, abs=1e-8)
    assert limit_normal(0.80642448, [41], 0.998)[1] == pytest.approx([0.99710497], abs=1e-8)


def test_outside_the_funnel_is_when_the_own_interval_lacks_the_common_share():
    """An identity of Wilson's interval, at sizes and shares of all kinds."""
    for size in (1, 7, 40, 333):
        (low,), (high,) = limit_normal(0.1, [size], 0.95)
        for done in range(size + 1):
            own = wilson(done, size)
            assert (low <= done / size <= high) == (own[0] <= 0.1 <= own[1]), (done, size)


def test_spread_by_hand():
    """Five groups, s = 1, values 0 2 -2 4 -4 about 0: without trimming phi = 40 / 5 = 8, tau2 = (40 - 4) / (5 - 1) = 9."""
    found = measure_spread([0, 2, -2, 4, -4], 0, [1] * 5, trim=0)
    assert (found.phi, found.tau2) == pytest.approx((8, 9))
    assert measure_spread([0.1, -0.1, 0.2], 0, [1] * 3).tau2 == 0
    with pytest.raises(ValueError):
        measure_spread([1], 0, [1])


def test_winsorising_draws_in_the_ends():
    found = winsorise(np.arange(11.0))
    assert found.tolist() == [1, 1, 2, 3, 4, 5, 6, 7, 8, 9, 9]


def test_without_spread_the_limits_are_those_of_the_arcsine_root():
    low, high = limit_spread(0.1, [400], 0.0, 0.95)
    half = 1.959964 / (2 * 20)
    assert (low[0], high[0]) == pytest.approx([np.sin(np.arcsin(np.sqrt(0.1)) + sign * half) ** 2 for sign in (-1, 1)])
    wide = limit_spread(0.1, [400], 0.01, 0.95)
    assert wide[0][0] < low[0] and wide[1][0] > high[0]
    assert limit_spread(0.01, [5], 0.5, 0.998) == pytest.approx((0, 1))


def test_spread_of_shares_is_found_where_it_is_and_not_where_it_isnt():
    """3,000 groups of 400: normal scatter sd .05 on the arcsine-root scale; untrimmed, since trimming is for outliers."""
    chance = np.random.default_rng(5)
    for sd in (0.0, 0.05):
        truth = np.sin(np.arcsin(np.sqrt(0.2)) + chance.normal(0, sd, 3000)) ** 2
        share = chance.binomial(400, truth) / 400
        found = measure_spread(np.arcsin(np.sqrt(share)), np.arcsin(np.sqrt(0.2)), np.full(3000, 1 / 40), trim=0)
        assert found.tau2 == pytest.approx(sd**2, abs=2e-4)
        assert measure_root_spread(share, 0.2, np.full(3000, 400)).tau2 <= found.tau2


@pytest.mark.parametrize("size", [1, 12, 80])
def test_tails_of_whole_counts_are_binomial(size):
    counts = np.arange(size + 1)
    few, many = find_tails(counts, np.full(size + 1, size), 0.13)
    assert few == pytest.approx(stats.binom.cdf(counts, size, 0.13)) and many == pytest.approx(
        stats.binom.sf(counts - 1, size, 0.13)
    )


def test_counts_beyond_a_drawn_limit_are_likelier_than_it_says():
    """Why find_tails signals and the line doesn't: at .1 and 50 the 99.9 % line lies between 12 and 13 of 50."""
    assert 12 < EXACT[50][3] * 50 < 13
    assert stats.binom.sf(12, 50, 0.1) > 0.001 >= stats.binom.sf(13, 50, 0.1)


def test_least_ratio_that_can_be_seen():
    """By its meaning: at that ratio the counts whose tail is .001 or less come up with 80 %, at a little less they don't."""
    ratio = find_least_ratio(0.1, 200)
    counts = np.arange(201)
    is_signal = find_tails(counts, np.full(201, 200), 0.1)[1] <= 0.001
    for share, is_enough in ((0.1 * ratio + 1e-9, True), (0.1 * (ratio - 0.01), False)):
        assert (stats.binom.pmf(counts, 200, share)[is_signal].sum() >= 0.8) == is_enough
    assert 1.8 < ratio < 2.1
    assert find_least_ratio(0.9, 5) is None and find_least_ratio(0.0, 50) is None and find_least_ratio(0.1, 0) is None


# Length of stay in 54 hospitals (medpar of the R package COUNT): days and what a Poisson model of hmo, died, age80 and type expects.
# Fitted by iteration; its coefficients (hmo -.07637, died -.24574, type 3 .74869), deviance 7977.7 and dispersion 6.2405 are those
# that the public README of FunnelPlotR (NHS-R community) prints.
STAYS = """406 523.696 642 612.979 46 53.791 764 763.718 82 120.937 201 250.186 193 155.492 569 484.715 404 362.222 134 188.927 614
 554.385 491 616.738 501 360.147 131 245.613 274 263.565 124 154.662 456 475.016 48 38.934 429 445.097 14 28.797 369 347.536
 8 7.561 37 73.206 128 118.114 145 273.338 493 449.793 104 172.379 6 19.196 308 321.858 34 36.563 7 19.964 935 851.716 134
 198.941 339 302.393 458 410.163 22 45.865 2 9.667 160 212.345 87 38.922 55 31.738 252 285.636 174 186.656 43 33.982 228
 255.655 210 242.026 321 279.476 631 619.264 543 626.130 105 145.675 389 413.862 92 111.263 1012 685.586 283 181.108 95
 24.806"""


def test_spread_of_hospitals():
    """Of the root of observed / expected, winsorised: phi and tau2 computed with R from Spiegelhalter's formulas."""
    days, expected = np.array(STAYS.split(), float).reshape(-1, 2).T
    found = measure_spread(np.sqrt(days / expected), 1.0, 1 / (2 * np.sqrt(expected)))
    assert len(days) == 54 and (found.phi, found.tau2) == pytest.approx((9.30250, 0.00786308), rel=2e-5)
