"""Do the limits of a share done in time hold what they promise, and does a fleet without differences raise no flag?

In: invented calendars of visits (late_visits). Out: the share of intervals that cover the truth, beside the naive ones, which must
fail the same test; false flags; what can be seen. The default run has a small case of each.
"""

import numpy as np
import pytest
from scipy import stats

from pipeline.figures.on_time_funnel import compare_years, place_vessels
from pipeline.figures.statistics.design_effect import pool_design_effect
from pipeline.figures.statistics.funnel import find_least_ratio, find_tails
from pipeline.figures.statistics.proportions import korn_graubard, wilson_limits
from tests.statistics.late_visits import draw_visits, find_truth

LEAST_COVER, MOST_FLAGGED = 0.85, 1 / 200
# visits a year, units due at each: 60 units serviced once a year in 4 visits or 12, and 60 units checked every month
CALENDARS = {"4 visits of 15": (4, 15), "12 visits of 5": (12, 5), "12 checks of 60": (12, 60)}


def measure_cover(calendar: str, years: int, delay: float, runs: int, seed: int = 1) -> tuple[float, float]:
    """Share of 95 % intervals that hold the truth: clustered, and Wilson's on the services as if each stood alone."""
    visits, units = CALENDARS[calendar]
    truth = find_truth(units, delay)
    drawn = draw_visits(np.random.default_rng(seed), runs, visits * years, units, delay)
    due = np.full(visits * years, units)
    held = naive = 0
    for done in drawn:
        share = korn_graubard(done, due)
        low, high = wilson_limits(share.done, share.due)
        held += share.low <= truth <= share.high
        naive += low <= truth <= high
    return held / runs, naive / runs


def count_flags(vessels: int, calendar: str, delay: float, fleets: int, seed: int = 3) -> tuple[float, float, float]:
    """Of vessels that don't differ: the shares flagged in the funnel, told changed, and flagged by each vessel's own n_eff."""
    visits, units = CALENDARS[calendar]
    due, chance = np.full(visits, units), np.random.default_rng(seed)
    flagged = changed = own = 0
    for _ in range(fleets):
        years = [draw_visits(chance, vessels, visits, units, delay) for _ in range(2)]
        common = [pool_design_effect([(done, due) for done in year]) for year in years]
        shares = [{str(n): korn_graubard(done, due) for n, done in enumerate(year)} for year in years]
        centre = float(years[0].mean() / units)
        flagged += sum(place.flag is not None for place in place_vessels(centre, shares[0], common[0]).values())
        changed += sum(
            compare_years(shares[0][n], common[0], shares[1][n], common[1])[3] in ("better", "worse") for n in shares[0]
        )
        told = list(shares[0].values())
        few, many = find_tails(
            *(np.array(v) for v in ([s.share * s.effective for s in told], [s.effective for s in told])), centre
        )
        own += int(((few <= 0.001) | (many <= 0.001)).sum())
    total = vessels * fleets
    return flagged / total, changed / total, own / total


def test_limits_hold_and_naive_ones_do_not_small():
    held, naive = measure_cover("4 visits of 15", 2, 8.0, 150)
    assert held >= LEAST_COVER > naive


@pytest.mark.slow
@pytest.mark.parametrize("delay", [4.0, 8.0, 15.0])
@pytest.mark.parametrize("years", [1, 2, 3])
@pytest.mark.parametrize("calendar", CALENDARS)
def test_limits_hold_and_naive_ones_do_not(calendar, years, delay):
    held, naive = measure_cover(calendar, years, delay, 500)
    assert held >= LEAST_COVER, (held, naive)
    if calendar != "12 visits of 5":  # five units late together are hardly more than chance
        assert naive < LEAST_COVER, (held, naive)


def test_a_fleet_without_differences_raises_no_flag_small():
    flagged, changed, _ = count_flags(6, "12 checks of 60", 8.0, 25)
    assert flagged <= 1 / 150 and changed <= 0.12


@pytest.mark.slow
@pytest.mark.parametrize("delay", [4.0, 8.0])
@pytest.mark.parametrize("vessels", [3, 6, 12, 30])
@pytest.mark.parametrize("calendar", CALENDARS)
def test_a_fleet_without_differences_raises_no_flag(calendar, vessels, delay):
    flagged, changed, _ = count_flags(vessels, calendar, delay, 1800 // vessels)
    assert flagged <= MOST_FLAGGED and changed <= 0.06, (flagged, changed)


@pytest.mark.slow
def test_flags_by_each_vessels_own_clusters_would_fail():
    """Why the vessels' common design effect is used: the same fleets, each vessel by its own."""
    flagged, _, own = count_flags(6, "12 checks of 60", 4.0, 200)
    assert own > MOST_FLAGGED >= flagged, (flagged, own)


def find_power(base: float, size: int, ratio: float) -> float:
    """Chance that a vessel late `ratio` times as often as its fleet lies beyond the upper 99.8 % limit."""
    counts = np.arange(size + 1)
    is_signal = find_tails(counts, np.full(size + 1, size), base)[1] <= 0.001
    return float(stats.binom.pmf(counts, size, min(1.0, base * ratio))[is_signal].sum())


def test_twice_as_late_is_seen_from_200_effective_services():
    assert find_power(0.1, 200, 2.0) >= 0.8 > find_power(0.1, 150, 2.0)
    assert find_least_ratio(0.1, 200) <= 2.0 < find_least_ratio(0.1, 150)


@pytest.mark.slow
@pytest.mark.parametrize("base, size", [(0.05, 420), (0.1, 200), (0.2, 85)])
def test_power_by_drawing(base, size):
    """The exact numbers against 4,000 draws."""
    late = np.random.default_rng(8).binomial(size, 2 * base, 4000)
    seen = (find_tails(late, np.full(4000, size), base)[1] <= 0.001).mean()
    assert seen == pytest.approx(find_power(base, size, 2.0), abs=0.02) and seen >= 0.78
