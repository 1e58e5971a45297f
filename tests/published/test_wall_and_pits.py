"""Slopes, rates drawn together, extremes and imperfect looks against published data and numbers worked by hand."""

import numpy as np
import pytest

from pipeline.figures.statistics.detection import fit_detection, lay_out
from pipeline.figures.statistics.extremes import check_form, find_level, fit_maxima
from pipeline.figures.statistics.wall import draw_together, find_gauge_error, fit_line, fit_lines, say_remaining
from pipeline.figures.statistics.weibull import fit_weibull

# NIST Statistical Reference Datasets, linear regression, Norris (calibration of ozone monitors): y and x, certified values below.
NORRIS = """.1 .2 338.8 337.4 118.1 118.2 888 884.6 9.2 10.1 228.1 226.5 668.5 666.3 998.5 996.3 449.1 448.6 778.9 777 559.2 558.2 .3 .4 .1 .6
 778.1 775.5 668.8 666.9 339.3 338 448.9 447.5 10.8 11.6 557.7 556 228.3 228.1 998 995.8 888.8 887.6 119.6 120.2 .3 .3 .6 .3 557.6 556.8
 339.3 339.1 888 887.2 998.5 999 778.9 779 10.2 11.1 117.6 118.3 228.9 229.2 668.4 669.1 449.2 448.9 .2 .5"""
# Coles S. (2001) An Introduction to Statistical Modeling of Extreme Values: annual maximum sea level at Port Pirie, metres, 1923 to 1987.
PORT_PIRIE = """4.03 3.83 3.65 3.88 4.01 4.08 4.18 3.80 4.36 3.96 3.98 4.69 3.85 3.96 3.85 3.93 3.75 3.63 3.57 4.25 3.97 4.05 4.24 4.22 3.73
 4.37 4.06 3.71 3.96 4.06 4.55 3.79 3.89 4.11 3.85 3.86 3.86 4.21 4.01 4.11 4.24 3.96 4.21 3.74 3.85 3.88 3.66 4.11 3.71 4.18 3.90 3.78
 3.91 3.72 4.00 3.66 3.62 4.33 4.55 3.75 4.08 3.90 3.88 3.94 4.33"""


def test_slope_of_norris():
    y, x = np.array(NORRIS.split(), float).reshape(-1, 2).T
    found = fit_line(x, y)
    assert len(x) == 36
    assert found[:3] == pytest.approx((-0.262323073774029, 1.00211681802045, 0.884796396144373), rel=1e-9)


def test_gumbel_and_general_extremes_of_port_pirie():
    """GEV 3.87475, .19804, -.05009, log likelihood 4.34, errors .0279 .0202 .0983: Coles (2001) p. 59 and R ismev; Gumbel: R evd."""
    maxima = np.array(PORT_PIRIE.split(), float)
    assert len(maxima) == 65
    plain, general = fit_maxima(maxima), fit_maxima(maxima, with_form=True)
    assert plain.values == pytest.approx((3.869446, 0.194891), abs=2e-5) and plain.log_likelihood == pytest.approx(
        4.217682, abs=1e-5
    )
    assert plain.errors == pytest.approx((0.0255, 0.0189), abs=1e-4)
    assert general.values == pytest.approx((3.87474692, 0.19804120, -0.05008773), abs=1e-4)
    assert general.log_likelihood == pytest.approx(4.339058, abs=1e-5)
    assert general.errors == pytest.approx((0.0279, 0.0202, 0.0983), abs=2e-4)
    assert (find_level(plain, 10), find_level(plain, 100)) == pytest.approx((4.3080, 4.7660), abs=1e-4)
    # by hand: 2 (4.339058 - 4.217682) = .242752 on one degree of freedom
    assert check_form(plain, general) == pytest.approx(0.622, abs=1e-3)


def test_rates_drawn_together_by_hand():
    """Two readings 10 years apart, gauge error .1: error of a rate .1 / sqrt(50) = .1 sqrt(2) / 10. Equal rates stay, apart ones stay apart."""
    found = draw_together(fit_lines([0, 10, 0, 10], [2.0, 1.5, 3.0, 2.5], [0, 2]), 0.1)
    assert found.rate == pytest.approx([0.05, 0.05]) and found.error == pytest.approx([0.1 * 2**0.5 / 10] * 2)
    # two rates of error .01414 know their mean to .01 at best, and each alone to .01414
    assert (
        found.shrunk == pytest.approx([0.05, 0.05])
        and (0.01 < found.shrunk_error).all()
        and (found.shrunk_error < found.error).all()
    )
    apart = draw_together(fit_lines([0, 10, 0, 10], [2, 2, 2, 1], [0, 2]), 0.01 * 10 / 2**0.5)
    assert apart.shrunk == pytest.approx([0, 0.1], abs=0.005) and apart.shrunk.sum() == pytest.approx(0.1)
    gained = draw_together(fit_lines([0, 10], [2, 2.1], [0]), 0.1)
    assert gained.rate == pytest.approx([-0.01]), "a gain is a reading like any other"


def test_gauge_error_is_told_by_the_readings_where_they_suffice():
    ten, nine = (fit_lines([0, 1, 2] * lines, [2, 2.1, 2] * lines, np.arange(lines) * 3) for lines in (10, 9))
    assert find_gauge_error(ten, [3] * 10, 0.5) == (pytest.approx(fit_line([0, 1, 2], [2, 2.1, 2]).error), True)
    assert find_gauge_error(nine, [3] * 9, 0.5) == (0.5, False)


def test_many_lines_are_each_as_alone():
    """Norris in unequal parts, and two points, which have no error of their own: as numpy's own least squares of each."""
    y, x = np.array(NORRIS.split(), float).reshape(-1, 2).T
    first = np.array([0, 5, 7, 20])
    found = fit_lines(x, y, first)
    for place, (mine, its) in enumerate(zip(np.split(x, first[1:]), np.split(y, first[1:]), strict=True)):
        slope, at = np.polyfit(mine, its, 1)
        assert (found.slope[place], found.at[place]) == pytest.approx((slope, at), rel=1e-9)
        left = its - at - slope * mine
        error = np.sqrt(left @ left / (len(mine) - 2)) if len(mine) > 2 else np.nan
        assert found.error[place] == pytest.approx(error, rel=1e-6, nan_ok=True)
        assert found.spread[place] == pytest.approx(len(mine) * mine.var(), rel=1e-9)


@pytest.mark.parametrize(
    ("now", "least", "rate", "years", "why"),
    [(2.0, 1.5, 0.05, 10, None), (1.55, 1.5, 0.05, None, "can't be told"), (1.2, 1.5, 0.05, None, "below"),
     (2.0, None, 0.05, None, "maker"), (2.0, 1.5, -0.01, None, "no loss")],
)  # fmt: skip
def test_years_that_remain(now, least, rate, years, why):
    found, said = say_remaining(now, 0.05, least, rate, now)
    assert found == (pytest.approx(years) if years else None) and (said is None if why is None else why in said)


def test_the_lower_of_line_and_last_reading_is_where_years_start():
    for line, last in ((1.5, 1.4), (1.4, 1.5)):
        assert say_remaining(line, 0.05, 1.2, 0.04, last) == (pytest.approx(5), None)
    assert say_remaining(1.5, 0.05, 1.2, 0.04, 1.16)[0] == pytest.approx(-1), "a reading below is no year to wait"


def test_chance_of_a_history_by_hand():
    """One look at age 1, found, with sensitivity .8, specificity .9: .8 F(1) + .1 (1 - F(1)); the likeliest F(1) of 31 in 100 is .3."""
    found = np.arange(100) < 31
    early = np.column_stack([np.full(100, 1.0), np.full(100, 2.0)]).ravel()
    hits = np.column_stack([found, np.arange(100) < 59]).ravel()
    ages, hit, looked = lay_out(np.repeat(np.arange(100), 2), early, hits)
    assert ages.shape == (100, 2) and hit.sum() == 90 and looked.all()
    once = fit_detection(
        np.arange(200), np.repeat([1.0, 2.0], 100), np.concatenate([found, np.arange(100) < 59]), (0.8, 0.0, 0.9)
    )
    share = 1 - np.exp(-((np.array([1, 2]) / once.scale) ** once.shape))
    assert share == pytest.approx([0.3, 0.7], abs=1e-4)
    with pytest.raises(ValueError, match="no look"):
        fit_detection([1, 2], [1, 2], [False, False])


def test_too_little_is_refused():
    for fails in (
        lambda: fit_line([1, 1], [2, 3]),
        lambda: fit_line([], []),
        lambda: fit_lines([1, 2, 1, 1], [2, 3, 2, 3], [0, 2]),
        lambda: fit_maxima([1, 1, 2]),
        lambda: find_level(fit_maxima([1, 2, 3, 5]), 1),
    ):
        with pytest.raises(ValueError):
            fails()


def test_looks_without_error_are_intervals_with_late_entry():
    """A look that neither misses nor invents leaves (last clean, first found] given the first clean look: fit_weibull of the same units."""
    chance = np.random.default_rng(5)
    onset, first = 14 * chance.weibull(2.2, 300), chance.uniform(1, 12, 300)
    unit, age = np.repeat(np.arange(300), 6), (first[:, None] + np.arange(6)).ravel()
    found = age >= onset[unit]
    told = fit_detection(unit, age, found, (1 - 1e-9, 0.0, 1 - 1e-9), is_first_clean=True)
    kept = onset > first
    steps = np.floor(onset - first)[kept]
    left, right = first[kept] + np.minimum(steps, 5), np.where(steps < 5, first[kept] + steps + 1, np.inf)
    plain = fit_weibull(left, right, first[kept])
    assert (told.shape, told.scale, told.log_likelihood) == pytest.approx(
        (plain.shape, plain.scale, plain.log_likelihood), rel=1e-4
    )
    errors = np.sqrt(np.diag(told.covariance))[[0, 1]]
    assert errors == pytest.approx(np.sqrt(np.diag(plain.covariance)), rel=1e-2)
