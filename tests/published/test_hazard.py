"""The hazard of condemnation and its scores against published data, and against other ways to the same number."""

import numpy as np
import pytest
from scipy import optimize
from sklearn.linear_model import LogisticRegression

from pipeline.figures.statistics.competing import aalen_johansen
from pipeline.figures.statistics.hazard import expit, fit_hazard
from pipeline.figures.statistics.scores import (
    brier_score,
    calibrate,
    count_top,
    lift_at,
    log_score,
    murphy_parts,
    precision_at,
)

# Singer J. D., Willett J. B. (2003) Applied Longitudinal Data Analysis, chapter 11, grades 7 to 12 of two groups: at risk and events as
# listed on the pages of UCLA to that chapter (aldastatach11).
LIFE = {0: ([72, 70, 68, 60, 52, 42], [2, 2, 8, 8, 10, 8]), 1: ([108, 95, 90, 74, 53, 38], [13, 5, 16, 21, 15, 18])}


def spread_life() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Grade, group and event of the 822 rows of people and grades."""
    rows = [
        (grade, group, event)
        for group, (risks, events) in LIFE.items()
        for grade, (risk, happened) in enumerate(zip(risks, events, strict=True))
        for event in [1] * happened + [0] * (risk - happened)
    ]
    grade, group, event = np.array(rows).T
    return grade, group, event


def unstandardise(found) -> tuple[float, np.ndarray]:
    """Intercept and coefficients on the features as they are."""
    beta = found.beta / found.scale
    return found.intercept - float(found.mean @ beta), beta


def test_grades_of_822_rows():
    """R 4.2.2 glm: logits -2.397895 -3.116685 -1.719786 -1.286665 -1.163151 -.730888 and deviance 651.9554 (the book prints 651.96, from
    memory); with the group .873618 (standard error .217404) and 634.6618 (the book: .8736, 634.66)."""
    grade, group, event = spread_life()
    assert (len(event), event.sum()) == (822, 126)
    dummies = (grade[:, None] == np.arange(1, 6)).astype(float)
    found = fit_hazard(dummies, event)
    start, beta = unstandardise(found)
    assert [start, *(start + beta)] == pytest.approx([-2.397895, -3.116685, -1.719786, -1.286665, -1.163151, -0.730888], abs=1e-6)
    assert -2 * found.log_likelihood == pytest.approx(651.9554, abs=1e-4)
    found = fit_hazard(np.column_stack([dummies, group]), event)
    assert unstandardise(found)[1][-1] == pytest.approx(0.873618, abs=1e-6)
    assert np.sqrt(found.covariance[-1, -1]) / found.scale[-1] == pytest.approx(0.217404, abs=1e-5)
    assert -2 * found.log_likelihood == pytest.approx(634.6618, abs=1e-4)


def test_ridge_is_the_minimum_of_its_own_loss():
    """Another way: the penalised loss written out and left to a general minimiser."""
    chance = np.random.default_rng(5)
    x = chance.normal(size=(300, 4)) * [1, 5, 0.2, 1] + [0, 3, 1, 0]
    w = chance.uniform(0.3, 1, 300)
    y = (chance.random(300) < expit(-2 + x[:, 0] - 0.2 * x[:, 1])).astype(float)
    mean = (w @ x) / w.sum()
    z = (x - mean) / np.sqrt(w @ (x - mean) ** 2 / w.sum())

    def lose(b: np.ndarray) -> float:
        logit = b[0] + z @ b[1:]
        return float((w * (np.logaddexp(0, logit) - y * logit)).sum() + 10 / 2 * (b[1:] ** 2).sum())

    best = optimize.minimize(lose, np.zeros(5), method="BFGS", options={"gtol": 1e-9}).x
    found = fit_hazard(x, y, w, ridge=10)
    assert [found.intercept, *found.beta] == pytest.approx(best, abs=1e-6)
    assert found.chance(x) == pytest.approx(expit(best[0] + z @ best[1:]), abs=1e-7)
    assert w @ found.chance(x) == pytest.approx(w @ y)  # an intercept without penalty: as many expected as seen


def test_ridge_equals_that_of_scikit_learn():
    """The same features, standardised, through scikit-learn's LogisticRegression with C = 1 / ridge; weights and all."""
    grade, group, event = spread_life()
    x = np.column_stack([grade, group, grade * group])
    w = np.random.default_rng(8).uniform(0.2, 1, len(event))
    found = fit_hazard(x, event, w, ridge=10)
    other = LogisticRegression(C=1 / 10, tol=1e-10, max_iter=1000).fit(found.standardise(x), event, sample_weight=w)
    assert found.beta == pytest.approx(other.coef_[0], abs=1e-5) and found.intercept == pytest.approx(
        other.intercept_[0], abs=1e-5
    )


def test_two_rows_count_as_one_of_twice_the_weight():
    grade, group, event = spread_life()
    x = np.column_stack([grade, group])
    twice = fit_hazard(np.vstack([x, x]), np.tile(event, 2), ridge=3)
    weighed = fit_hazard(x, event, np.full(len(event), 2.0), ridge=3)
    assert twice.beta == pytest.approx(weighed.beta) and twice.intercept == pytest.approx(weighed.intercept)


def test_what_does_not_vary_has_no_part_and_what_is_parted_needs_a_ridge():
    x, y = np.column_stack([np.arange(20.0), np.ones(20)]), (np.arange(20) > 9).astype(float)
    assert fit_hazard(x, y, ridge=1).beta[1] == 0
    with pytest.raises(ValueError, match="settle"):
        fit_hazard(x, y)
    with pytest.raises(ValueError, match="alike"):
        fit_hazard(x, np.zeros(20))


def test_parts_of_twenty_forecasts():
    """By hand: .1 for ten of which one happened, .5 for four of which two, .9 for six of which five."""
    p, y = np.repeat([0.1, 0.5, 0.9], [10, 4, 6]), np.array([1] + 9 * [0] + [1, 1, 0, 0] + 5 * [1] + [0])
    assert murphy_parts([0.1, 0.5, 0.9], [0.1, 0.5, 5 / 6], [10, 4, 6]) == pytest.approx(
        (0.138, 0.00133333, 0.10333333, 0.24), abs=1e-8
    )
    assert brier_score(p, y) == pytest.approx(0.138)


def test_rain_forecasts():
    """Wilks D. S., Statistical Methods in the Atmospheric Sciences, a table of chances of precipitation, as the help page
    reliability.plot of the R package verification lists it (two of its frequencies, .245 and .203, are misprints: they must add to 1);
    the parts computed from it."""
    chances = [0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1]
    happened = [0.006, 0.019, 0.059, 0.15, 0.277, 0.377, 0.511, 0.587, 0.723, 0.779, 0.934, 0.933]
    often = [0.4112, 0.0671, 0.1833, 0.0986, 0.0616, 0.0366, 0.0303, 0.0275, 0.0245, 0.022, 0.017, 0.0203]
    assert sum(often) == pytest.approx(1)
    assert murphy_parts(chances, happened, often) == pytest.approx((0.07346104, 0.00082762, 0.06278663, 0.13542005), abs=5e-9)


def test_calibration_of_20_forecasts():
    """R: rms val.prob and glm give intercept .212585, slope .709319, in the large .499414, Brier .191355, log score .587008."""
    p = [0.02, 0.03, 0.05, 0.05, 0.08, 0.1, 0.1, 0.12, 0.15, 0.2, 0.2, 0.25, 0.3, 0.35, 0.4, 0.45, 0.5, 0.6, 0.7, 0.8]
    y = np.isin(np.arange(1, 21), [4, 9, 12, 15, 17, 19, 20]).astype(float)
    assert calibrate(p, y) == pytest.approx((0.212585, 0.709319, 0.499414), abs=1e-6)
    assert (brier_score(p, y), log_score(p, y)) == pytest.approx((0.191355, 0.587008), abs=5e-7)


def test_calibration_that_can_not_be_told():
    assert calibrate([0.1, 0.2, 0.3], [0, 0, 0]) is None
    assert calibrate([0.2, 0.2, 0.2], [0, 1, 0]) is None
    with pytest.raises(ValueError, match="no forecast"):
        brier_score([], [])


def test_precision_where_scores_tie():
    """By hand: of the two best of 3, 2, 2, 2, 1 one is sure, the other one of three, of which two happened."""
    scores, happened = [3, 2, 2, 2, 1], [1, 1, 0, 1, 0]
    assert precision_at(scores, happened, 2) == pytest.approx((1 + 2 / 3) / 2)
    assert precision_at(scores, happened, 1) == 1
    assert precision_at(scores, happened, 9) == pytest.approx(3 / 5)
    assert lift_at(scores, happened, 2) == pytest.approx((1 + 2 / 3) / 2 / (3 / 5))
    assert lift_at(scores, [0] * 5, 2) is None and precision_at([], [], 2) is None
    assert [count_top(size, 0.05) for size in (0, 1, 29, 30, 50, 200)] == [0, 1, 1, 2, 3, 10]


def test_incidence_of_ten():
    """R survfit and cmprsk::cuminc: times 1 2 2 3 4 5 5 6 7 8, causes 1 2 0 1 2 1 0 2 0 1."""
    found = aalen_johansen([1, 2, 2, 3, 4, 5, 5, 6, 7, 8], [1, 2, 0, 1, 2, 1, 0, 2, 0, 1], 2)
    assert found.times == pytest.approx([1, 2, 3, 4, 5, 6, 8])
    assert found.shares[0] == pytest.approx([0.1, 0.1, 0.214286, 0.214286, 0.328571, 0.328571, 0.633333], abs=1e-6)
    assert found.shares[1][-1] == pytest.approx(0.366667, abs=1e-6)
    assert found.at(0.5) == pytest.approx([0, 0]) and found.at(3.5)[0] == pytest.approx(0.214286, abs=1e-6)
