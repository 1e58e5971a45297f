"""Gamma-Poisson shrinkage against published numbers: ten pumps of a power plant."""

import numpy as np
import pytest
from scipy import special, stats

from pipeline.figures.statistics.shrinkage import approach_quantile, average, find_quantile, fit_gamma, make_grid, shrink, weigh

# Gaver D. P., O'Muircheartaigh I. G. (1987), Technometrics 29:1: failures and thousands of hours of ten pumps.
FAILURES = np.array([5, 1, 5, 14, 3, 19, 1, 1, 4, 22.0])
HOURS = np.array([94.32, 15.72, 62.88, 125.76, 5.24, 31.44, 1.048, 1.048, 2.096, 10.48])


def test_maximum_likelihood_and_plug_in_means_of_the_pumps():
    # computed with R 4.2.2, optim; equal to MASS::glm.nb (theta .822269, mu .653136)
    found = fit_gamma(FAILURES, HOURS)
    assert (found.alpha, found.beta, found.log_likelihood) == pytest.approx((0.822269, 1.258954, -32.263067), abs=2e-6)
    expected = [0.06092, 0.10733, 0.09078, 0.11669, 0.58814, 0.6062, 0.7899, 0.7899, 1.43736, 1.94415]
    assert found.rates == pytest.approx(expected, abs=6e-6)


def test_likelihood_is_the_negative_binomial_of_scipy():
    alpha, beta = 1.7, 4.0
    expected = stats.nbinom.logpmf(FAILURES, alpha, beta / (beta + HOURS)).sum()
    assert weigh(FAILURES, HOURS, np.array([alpha]), np.array([beta]))[0] == pytest.approx(expected)


def test_full_posterior_of_the_pumps():
    # Posterior means as the Stan project's example-models print them beside bugs_examples/vol1/pump (alpha ~ Exp(1), beta ~
    # Gamma(.1, 1); rounded hours and simulated, hence the tolerance .03)
    alpha, beta = (a.ravel() for a in np.meshgrid(np.geomspace(0.05, 8, 160), np.geomspace(0.01, 20, 160)))
    prior = stats.expon.logpdf(alpha) + stats.gamma.logpdf(beta, 0.1) + np.log(alpha) + np.log(beta)
    found, weights = average(FAILURES, HOURS, alpha, beta, prior)
    expected = [0.0602, 0.1010, 0.0893, 0.1163, 0.5990, 0.6083, 0.8946, 0.8760, 1.5832, 1.9834]
    assert found.mean == pytest.approx(expected, abs=0.03)
    assert (weights @ alpha, weights @ beta) == pytest.approx((0.706, 0.949), abs=0.03)


def test_counts_that_vary_no_more_than_chance_have_no_gamma():
    found = fit_gamma([10, 11, 9, 10], [1, 1, 1, 1])
    assert (found.alpha, found.beta) == (None, None) and found.rates == pytest.approx([10] * 4)
    assert fit_gamma([0, 0], [1, 2]).rates == pytest.approx([0, 0])


def test_quantiles_of_one_cell_are_the_gammas_own():
    """With one cell the mixture is a gamma: limits and the chance of exceeding are scipy's."""
    found, _ = average([4, 0], [2.0, 3.0], np.array([3.0]), np.array([1.5]), np.zeros(1), factor=1.5)
    own = [stats.gamma(7, scale=1 / 3.5), stats.gamma(3, scale=1 / 4.5)]
    assert found.mean == pytest.approx([g.mean() for g in own])
    assert found.low == pytest.approx([g.ppf(0.025) for g in own]) and found.high == pytest.approx([g.ppf(0.975) for g in own])
    assert found.chance_above == pytest.approx([g.sf(1.5 * 3 / 1.5) for g in own])


def test_quantiles_are_those_of_plain_bisection_to_the_last_digit():
    """Newton's steps spare most of the halves and settle none: also where they have not come to rest, which some of these do."""
    chance, rested = np.random.default_rng(20264), []
    for _ in range(40):
        cells, rates = chance.integers(1, 60), chance.integers(1, 12)
        shape = np.exp(chance.uniform(-5, 5, (cells, 1))) + chance.integers(0, 30, rates)
        rate = np.exp(chance.uniform(-3, 3, (cells, 1))) + np.exp(chance.uniform(-3, 6, rates))
        weights = chance.dirichlet(np.full(cells, 0.3))
        for tail in (0.025, 0.975):
            high = np.log((shape + 12 * np.sqrt(shape) + 60) / rate).max(axis=0)
            low = high - 40
            for _ in range(40):
                middle = (low + high) / 2
                is_below = weights @ special.gammainc(shape, rate * np.exp(middle)) < tail
                low, high = np.where(is_below, middle, low), np.where(is_below, high, middle)
            assert (find_quantile(tail, shape, rate, weights) == np.exp((low + high) / 2)).all()
            rested += np.isfinite(approach_quantile(tail, shape, rate, weights)).tolist()
    assert 0.5 < np.mean(rested) < 1


def test_the_grid_agrees_with_a_finer_one():
    """A grid of the same priors with another layout, twice the steps in spread, changes no shown digit."""
    x, t = np.array([3, 9, 4, 21, 0.0]), np.array([30, 42, 25, 55, 8.0])
    spread, mean = (a.ravel() for a in np.meshgrid(0.02 * (np.arange(110) + 0.5), np.geomspace(0.002, 60, 200)))
    prior = -0.5 * (spread / 0.6) ** 2 + 0.5 * np.log(mean)
    fine, _ = average(x, t, 1 / spread**2, 1 / spread**2 / mean, prior)
    for ours, theirs in zip(shrink(x, t), fine, strict=True):
        assert ours == pytest.approx(theirs, rel=0.003, abs=1e-5)


def test_much_exposure_leaves_a_rate_as_it_is_and_little_draws_it_in():
    found = shrink([2000, 1000, 3], [1000, 1000, 1])
    assert found.mean[:2] == pytest.approx([2, 1], rel=0.02) and 1.2 < found.mean[2] < 3
    assert (found.low < found.mean).all() and (found.mean < found.high).all()


@pytest.mark.parametrize("counts, exposures", [([0], [3.0]), ([0, 0, 0], [1.0, 2, 3]), ([500], [1.0]), ([1] * 100, [0.01] * 100)])
def test_edges_give_finite_numbers(counts, exposures):
    found = shrink(counts, exposures)
    assert all(np.isfinite(values).all() for values in found) and ((found.chance_above >= 0) & (found.chance_above <= 1)).all()
    assert (found.low < found.high).all()


def test_the_grid_holds_its_weight_inside():
    x, t = FAILURES, HOURS
    alpha, beta, prior = make_grid(x, t)
    _, weights = average(x, t, alpha, beta, prior)
    table = weights.reshape(44, 37)
    assert weights.sum() == pytest.approx(1) and table[:, [0, -1]].sum() < 1e-3 and table[-1].sum() < 0.02


@pytest.mark.parametrize("counts, exposures", [([], []), ([1], [0.0]), ([-1], [1.0]), ([1, 2], [1.0])])
def test_impossible_counts_are_refused(counts, exposures):
    with pytest.raises(ValueError):
        shrink(counts, exposures)
