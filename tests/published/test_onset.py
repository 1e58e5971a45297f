"""Curves of onset between two looks against published data, and against estimators that they must equal."""

from datetime import date

import duckdb
import numpy as np
import pytest
from scipy import optimize

from pipeline.figures.corrosion_by_age import fill
from pipeline.figures.statistics.lifetimes import kaplan_meier
from pipeline.figures.statistics.onset import fit_onset, read_survival
from pipeline.figures.statistics.weibull import fit_weibull

# Finkelstein D. M., Wolfe R. A. (1985) Biometrics 41:933, 94 women, months to cosmetic deterioration; as listed in the SAS/STAT user's
# guide, getting started with ICLIFETEST. The last clean visit and the first that was not, 0 where none, - where never.
RADIATION = """45 - 25 37 37 - 6 10 46 - 0 5 0 7 26 40 18 - 46 - 46 - 24 - 46 - 27 34 36 - 7 16 36 44 5 11 17 - 46 - 19 35 7 14 36 48
 17 25 37 44 37 - 24 - 0 8 40 - 32 - 4 11 17 25 33 - 15 - 46 - 19 26 11 15 11 18 37 - 22 - 38 - 34 - 46 - 5 12 36 - 46 -"""
BOTH = """8 12 0 5 30 34 0 22 5 8 13 - 24 31 12 20 10 17 17 27 11 - 8 21 17 23 33 40 4 9 24 30 31 - 11 - 16 24 13 39 14 19 13 - 19 32
 4 8 11 13 34 - 34 - 16 20 13 - 30 36 18 25 16 24 18 24 17 26 35 - 16 60 32 - 15 22 35 39 23 - 11 17 21 - 44 48 22 32 11 20 14 17
 10 35 48 -"""


def read_pairs(text: str) -> tuple[np.ndarray, np.ndarray]:
    cells = [np.inf if cell == "-" else float(cell) for cell in text.split()]
    return np.array(cells[::2]), np.array(cells[1::2])


def list_masses(text: str) -> tuple[dict[tuple[float, float], float], float]:
    found, _ = fit_onset(*read_pairs(text))
    kept = found.mass > 1e-4
    pairs = zip(found.left[kept].tolist(), found.right[kept].tolist(), strict=True)
    return dict(zip(pairs, found.mass[kept].tolist(), strict=True)), found.log_likelihood


def test_masses_of_94_women():
    """.0463 is printed in Fay M. P., Shaw P. A. (2010) J. Stat. Software 36(2); all: R survival survfit, type interval2."""
    assert len(read_pairs(RADIATION)[0]) == 46 and len(read_pairs(BOTH)[0]) == 48
    alone, likelihood = list_masses(RADIATION)
    expected = {(4, 5): 0.0463, (6, 7): 0.0334, (7, 8): 0.0887, (11, 12): 0.0708, (24, 25): 0.0926, (33, 34): 0.0818,
                (38, 40): 0.1209}  # fmt: skip
    last = alone.pop(max(alone))
    assert alone == pytest.approx(expected, abs=6e-5) and last == pytest.approx(0.4656, abs=6e-5)
    assert likelihood == pytest.approx(-58.060022, abs=1e-5)
    both, likelihood = list_masses(BOTH)
    expected = {(4, 5): 0.0433, (5, 8): 0.0433, (11, 12): 0.0692, (16, 17): 0.1454, (18, 19): 0.1411, (19, 20): 0.1157,
                (24, 25): 0.0999, (30, 31): 0.0709, (35, 36): 0.1608, (44, 48): 0.0552}  # fmt: skip
    last = both.pop(max(both))
    assert both == pytest.approx(expected, abs=6e-5) and last == pytest.approx(0.0552, abs=6e-5)
    assert likelihood == pytest.approx(-65.636965, abs=1e-5)


def test_weibull_of_94_women():
    """R survival survreg, dist weibull; lifelines and surpyval give the same."""
    alone, both = fit_weibull(*read_pairs(RADIATION)), fit_weibull(*read_pairs(BOTH))
    assert (alone.shape, alone.scale, alone.log_likelihood) == pytest.approx((1.121613, 57.5131, -64.73147), rel=2e-5)
    assert (both.shape, both.scale, both.log_likelihood) == pytest.approx((2.030238, 28.04247, -75.71507), rel=2e-5)
    left, right = (np.concatenate(pair) for pair in zip(read_pairs(RADIATION), read_pairs(BOTH), strict=True))
    group = np.repeat([0.0, 1.0], [46, 48])[:, None]
    joint = fit_weibull(left, right, covariates=group)
    assert (*joint.beta, -np.log(joint.shape)) == pytest.approx((3.899276, -0.567551, -0.479101), abs=2e-5)
    assert joint.log_likelihood == pytest.approx(-143.320827, abs=1e-5)
    # accelerated life and proportional hazards are the same model for a Weibull: hazard ratio = exp(-beta x shape)
    assert np.exp(-joint.beta[1] * joint.shape) == pytest.approx(2.500223, abs=1e-4)


def test_late_entry_with_exact_ages_is_the_product_limit_curve():
    """Entry 0 0 2 3 5, exit 4 6 5 9 8, event 1 1 0 1 1: by hand .75 .5 .25 0 (Turnbull 1976, Frydman 1994: the same likelihood)."""
    entry, until, event = np.array([0, 0, 2, 3, 5.0]), np.array([4, 6, 5, 9, 8.0]), np.array([1, 1, 0, 1, 1], bool)
    left, right = np.where(event, until - 1e-6, until), np.where(event, until, np.inf)
    found, _ = fit_onset(left, right, entry)
    assert read_survival(found, [4, 6, 8, 9]) == pytest.approx([0.75, 0.5, 0.25, 0], abs=1e-5)
    chance = np.random.default_rng(3)
    age, come = 14 * chance.weibull(2.2, 400), chance.uniform(0, 6, 400)
    until, kept = np.minimum(age, 18), age > come
    entry, until, event = come[kept], until[kept], age[kept] < 18
    left, right = np.where(event, until - 1e-7, until), np.where(event, until, np.inf)
    curve = kaplan_meier(entry, until, event)
    found, _ = fit_onset(left, right, entry, most=50_000, tolerance=1e-11)
    kept = curve.time > 4
    mine = read_survival(found, curve.time) / read_survival(found, [4])
    assert mine[kept] == pytest.approx(curve.survival[kept] / curve.survival[~kept][-1], abs=2e-3)


def test_one_look_each_is_the_pooled_monotone_share():
    """Current status: the likeliest curve is the isotonic regression (Ayer M. et al. 1955 Ann. Math. Stat. 26:641)."""
    chance = np.random.default_rng(4)
    looked = chance.integers(1, 20, 300).astype(float)
    begun = 10 * chance.weibull(2, 300) <= looked
    found, _ = fit_onset(np.where(begun, 0, looked), np.where(begun, looked, np.inf), most=100_000, tolerance=1e-12)
    ages, place, count = np.unique(looked, return_inverse=True, return_counts=True)
    share = np.bincount(place, begun) / count
    smooth = optimize.isotonic_regression(share, weights=count).x
    assert 1 - read_survival(found, ages) == pytest.approx(smooth, abs=1e-3)


def test_pooled_monotone_values():
    """Robertson, Wright, Dykstra (1988) Order Restricted Statistical Inference, pituitary sizes in weights 3 3 3 2: the first three pool.

    As shares of units by age, through the figure's own code: sizes as hundredths, weights as units.
    """
    con = duckdb.connect()
    con.execute("create schema figure; create table figure.corrosion_by_age (agent varchar, lining varchar, space_category varchar, "
                "age_band_years varchar, units bigint, share double, share_smooth double)")  # fmt: skip
    bands = [("0-4", 30, 0.225), ("5-9", 30, 0.7 / 3), ("10-14", 30, 1.25 / 6), ("15-19", 20, 0.2425)]
    con.executemany("insert into figure.corrosion_by_age values ('*', '*', '*', ?, ?, ?, null)", bands)
    fill(con, date(2026, 10, 31))
    found = dict(con.execute("select age_band_years, share_smooth from figure.corrosion_by_age").fetchall())
    assert [100 * found[band[0]] for band in bands] == pytest.approx([22.2222, 22.2222, 22.2222, 24.25], abs=1e-4)


def test_impossible_intervals_are_refused():
    for left, right, entry in (([3], [3], [0]), ([1], [2], [1.5]), ([-1], [2], [-1]), ([], [], [])):
        with pytest.raises(ValueError):
            fit_onset(left, right, entry)
    with pytest.raises(ValueError, match="no onset"):
        fit_weibull([1, 2], [np.inf, np.inf])


# Years to kidney disease of 731 diabetic patients (Steno; IR_diabetes of the R package icenReg, as in lifelines): a year, or first-last
# where it is known to lie between two, and how many alike.
MEN = """1-4 1-11 1-13 1-15x4 1-16x4 1-17 1-18 1-19 1-20 1-21 1-22 1-23 1-25 1-29 2-18x2 2-19 2-24x2 2-25x2 2-28 2-38 3 3-15 3-21 3-27
 3-28 3-29 3-32 4 4-20 4-21 4-22 4-23 4-25 4-27 4-35 5 5-18 5-19x2 5-20 5-23 6x2 6-12 6-16x2 6-17 6-19x2 6-20 6-21 6-23 6-24
 6-30 7x3 7-16 7-18 7-21 7-22 7-23 7-24 8x4 8-16 8-18 8-26 8-32 9x13 9-15 9-20 9-24 10x5 10-15 10-19 10-20 10-22x3 10-23
 11x13 11-18 11-22 11-29 12x16 12-19 12-23 13x23 13-23 13-25 14x27 14-20 14-23 15x30 16x18 16-22 16-24 16-37 17x34 18x20
 18-25 19x29 20x23 20-28 21x15 22x13 22-32 23x11 24x9 24-27 25x9 25-26 26x13 27x3 28 29x3 30x4 31x3 32 33 34x4 37 37-39 38
 40x3"""
WOMEN = """0-26 1-10 1-11 1-13x4 1-15x2 1-20x2 1-24 1-25 2 2-16 2-20 3 3-11 3-12 4 4-16 4-18 4-21 4-26 4-27 4-32 5x3 5-21 5-22 6x3 7x5
 7-42 8x4 8-18 8-20 8-22 9x10 9-21 9-23x2 10x6 10-16 10-29 11x7 11-20 11-28 12x20 12-40 13x15 14x21 14-23 15x20 15-35 16x19
 17x12 18x12 19x14 19-37 20x12 21x9 22x7 23x6 24x4 25x3 26x5 27x4 28x2 29 30x2 31 32 33x2 34x2 41 44"""


def test_weibull_of_731_patients():
    """R flexsurv and icenReg by way of lifelines' public tests: scale 18.3197, shape 2.8263, men .0458 later, log likelihood -2027.196.

    A year known exactly is an interval as short as makes no difference; its density is the chance over its length.
    """
    short, rows = 1e-3, []
    for is_man, text in ((1.0, MEN), (0.0, WOMEN)):
        for cell in text.split():
            years, _, count = cell.partition("x")
            first, _, last = years.partition("-")
            ends = (float(first), float(last)) if last else (float(first) - short / 2, float(first) + short / 2)
            rows += [(*ends, is_man, not last)] * int(count or 1)
    left, right, men, exact = np.array(rows, float).T
    found = fit_weibull(left, right, covariates=men[:, None])
    assert len(left) == 731 and (found.scale, found.shape, found.beta[1]) == pytest.approx((18.31971, 2.82628, 0.04576), abs=2e-5)
    assert found.log_likelihood - exact.sum() * np.log(short) == pytest.approx(-2027.196, abs=1e-3)
