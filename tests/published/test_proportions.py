"""Shares of clusters, their limits and differences, against published or independently computed numbers."""

import numpy as np
import pytest
from scipy import stats

from pipeline.figures.statistics.design_effect import (
    CommonEffect,
    count_effective,
    hold_share,
    pool_design_effect,
    pool_lasting_effect,
)
from pipeline.figures.statistics.display import judge_display
from pipeline.figures.statistics.intervals import wilson
from pipeline.figures.statistics.pooling import draw_normals, pool
from pipeline.figures.statistics.proportions import (
    ClusteredShare,
    clopper_pearson,
    korn_graubard,
    measure_design_effect,
    measure_variance,
    newcombe,
    wilson_limits,
)

# Weil C. S. (1970), litters of rats, as in the data set `rats` of the R package aod: survivors of each litter. What is expected of
# them below was computed with R 4.2.2 (survey::svymean, svyciprop, and the formula of Rao and Scott).
CONTROL = ([13, 12, 9, 9, 8, 8, 12, 11, 9, 9, 8, 11, 4, 5, 7, 7], [13, 12, 9, 9, 8, 8, 13, 12, 10, 10, 9, 13, 5, 7, 10, 10])
TREATED = ([12, 11, 10, 9, 10, 9, 9, 8, 8, 4, 7, 4, 5, 3, 3, 0], [12, 11, 10, 9, 11, 10, 10, 9, 9, 5, 9, 7, 10, 6, 10, 7])


def test_difference_of_two_shares():
    # Newcombe R. G. (1998) Stat. Med. 17:873, method 10, from memory; .052431 and .333873 computed with statsmodels
    found = newcombe(56, 70, 48, 80)
    assert found.difference == pytest.approx(0.2)
    assert (found.low, found.high) == pytest.approx((0.052431, 0.333873), abs=1e-6)


def test_exact_limits():
    # computed with R binom.test and scipy
    assert clopper_pearson(4, 20) == pytest.approx((0.057334, 0.436614), abs=1e-6)
    assert clopper_pearson(4, 20, 0.9) == pytest.approx((0.071354, 0.401028), abs=1e-6)
    assert clopper_pearson(0, 10)[0] == 0 and clopper_pearson(10, 10)[1] == 1


@pytest.mark.parametrize("counts", [(0, 20), (1, 29), (81, 263), (29, 29)])
def test_score_limits_of_whole_counts_are_those_of_scipy(counts):
    assert wilson_limits(*counts) == pytest.approx(wilson(*counts), abs=1e-12)


@pytest.mark.parametrize(
    "litters, share, error, effect",
    [(CONTROL, 0.898734, 0.0266447, 1.232495), (TREATED, 0.772414, 0.0692261, 3.952861)],
)
def test_litters_survive_together(litters, share, error, effect):
    assert sum(litters[0]) / sum(litters[1]) == pytest.approx(share, abs=1e-6)
    assert measure_variance(*litters) ** 0.5 == pytest.approx(error, abs=1e-7)
    assert measure_design_effect(*litters) == pytest.approx(effect, abs=1e-6)


@pytest.mark.parametrize(
    "litters, limits, effective",
    [(CONTROL, (0.826622, 0.948077), 128.195), (TREATED, (0.588945, 0.901916), 36.682)],
)
def test_exact_limits_of_litters(litters, limits, effective):
    # R survey::svyciprop(method = "beta"); effective: N over the design effect, before the factor of the t-quantiles
    found = korn_graubard(*litters)
    assert (found.low, found.high) == pytest.approx(limits, abs=1e-6)
    total, m = sum(litters[1]), len(litters[1])
    factor = (stats.t.ppf(0.975, total - 1) / stats.t.ppf(0.975, m - 1)) ** 2
    assert found.effective / factor == pytest.approx(effective, abs=1e-3)


def test_without_variance_the_clusters_are_the_items():
    """All of five visits in time: as five items, not as sixty; also where every cluster has the same share."""
    assert korn_graubard([12] * 5, [12] * 5)[3:] == pytest.approx((*clopper_pearson(5, 5), 5, 5.0, 5))
    assert korn_graubard([0] * 5, [12] * 5)[3:] == pytest.approx((*clopper_pearson(0, 5), 5, 5.0, 5))
    assert korn_graubard([6] * 4, [12] * 4)[3:] == pytest.approx((*clopper_pearson(2, 4), 4, 4.0, 4))


def test_few_and_no_clusters():
    assert korn_graubard([3, 4], [5, 5]) == (7, 10, 0.7, None, None, 2, None, 2)
    assert korn_graubard([], []) == korn_graubard([0], [0]) == (0, 0, None, None, None, 0, None, 0)
    assert measure_design_effect([1, 1, 1], [1, 1, 1]) is None and measure_variance([1], [2]) is None


def test_items_never_tell_more_than_there_are():
    """Clusters more alike than chance: 5 of 10 in each but one."""
    found = korn_graubard([5, 5, 5, 5, 5, 6] * 8, [10] * 48)
    assert found.effective == 480 and (found.low, found.high) == pytest.approx(clopper_pearson(248, 480))


@pytest.mark.parametrize("counts", [([3], [2]), ([-1], [2]), ([1, 1], [2])])
def test_impossible_counts_are_refused(counts):
    with pytest.raises(ValueError):
        korn_graubard(*counts)


@pytest.mark.parametrize("formula", [clopper_pearson, wilson_limits])
@pytest.mark.parametrize("counts", [(1, 0), (5, 4), (-1, 4)])
def test_impossible_shares_are_refused(formula, counts):
    with pytest.raises(ValueError):
        formula(*counts)


# NCHS, Vital and Health Statistics 2(175): thresholds as in the public code of CDC's surveytable (R/z_lpe.R).
@pytest.mark.parametrize(
    "low, high, share, effective, clusters, said",
    [
        (0.86, 0.905, 0.88, 29.9, 12, ("counts only", "tells as much as 30 independent services; 30 are needed")),
        (0.86, 0.905, 0.88, 30, 12, ("rate", None)),
        (0.70, 1.00, 0.88, 40, 12, ("counts only", "the interval is 30 points wide")),
        (0.71, 1.00, 0.88, 40, 12, ("rate", "few were late, so the share of late ones is uncertain")),
        (0.70, 0.99, 0.78, 40, 7, ("rate", "only 7 groups of services")),
        (0.01, 0.09, 0.05, 90, 20, ("counts only", "the interval is 8 points wide")),
        (0.01, 0.055, 0.02, 900, 20, ("rate", None)),
        (None, None, 0.5, None, 2, ("counts only", "fewer than 3 groups of services that stand or fall together")),
        (None, None, None, None, 0, ("counts only", "nothing fell due")),
    ],
)
def test_what_may_be_shown(low, high, share, effective, clusters, said):
    assert judge_display(ClusteredShare(0, 0, share, low, high, clusters, effective)) == said


# The BCG vaccine trials (Colditz G. A. et al. 1994, JAMA 271:698), 2 x 2 tables as in metafor's dat.bcg, from memory; they are
# confirmed by Q, tau2, mean and error below, computed with metafor.
BCG = np.array([
    (4, 119, 11, 128), (6, 300, 29, 274), (3, 228, 11, 209), (62, 13536, 248, 12619), (33, 5036, 47, 5761),
    (180, 1361, 372, 1079), (8, 2537, 10, 619), (505, 87886, 499, 87892), (29, 7470, 45, 7232),
    (17, 1699, 65, 1600), (186, 50448, 141, 27197), (5, 2493, 3, 2338), (27, 16886, 29, 17825),
])  # fmt: skip


def test_trials_drawn_together():
    a, b, c, d = BCG.T
    estimates, variances = np.log(a / (a + b) / (c / (c + d))), 1 / a - 1 / (a + b) + 1 / c - 1 / (c + d)
    found = pool(estimates, variances)
    assert found == pytest.approx((0.308760, 152.233, -0.714117, 0.178742), rel=2e-5)


def test_estimates_that_agree_have_no_spread():
    found = pool([1.0, 1.0, 1.0], [1, 2, 4])
    assert found.tau2 == 0 and found.mean == 1 and found.error == pytest.approx((1 + 1 / 2 + 1 / 4) ** -0.5)
    with pytest.raises(ValueError):
        pool([1.0], [0.0])


def test_eight_schools_drawn_together():
    """Effects of coaching in eight schools; posterior medians 10 8 7 8 5 6 10 8, a 95 % interval of the first -2 to 31, of the fifth -9 to
    18: Rubin D. B. (1981), Gelman and others (1995) table 5.3, 200 draws, from memory. A mean of a long tail lies above its median."""
    found = draw_normals([28, 8, -3, 7, -1, 1, 18, 12], np.array([15, 10, 16, 11, 9, 11, 10, 18.0]) ** 2)
    assert found.mean == pytest.approx([10, 8, 7, 8, 5, 6, 10, 8], abs=1.6)
    assert found.error[[0, 4]] == pytest.approx([33 / 3.92, 27 / 3.92], rel=0.15)
    for bad in (([1.0], [1.0]), ([1.0, 2.0], [1.0, 0.0])):
        with pytest.raises(ValueError):
            draw_normals(*bad)


def test_the_effect_that_groups_have_in_common():
    """One group's own is measure_design_effect (but for its m / (m - 1) at cluster level, the same formula); two alike are as one."""
    alone = pool_design_effect([TREATED])
    assert alone.effect == pytest.approx(measure_design_effect(*TREATED)) and alone.df == 15
    assert pool_design_effect([TREATED, TREATED])[:2] == pytest.approx((alone.effect, 30))
    assert pool_design_effect([CONTROL, TREATED]).effect == pytest.approx(
        (1.232495 * sum(CONTROL[1]) * 0.898734 * 0.101266 + 3.952861 * sum(TREATED[1]) * 0.772414 * 0.227586)
        / (sum(CONTROL[1]) * 0.898734 * 0.101266 + sum(TREATED[1]) * 0.772414 * 0.227586),
        rel=1e-5,
    )


def test_groups_that_differ_do_not_add_to_the_common_effect():
    """All clusters of a group alike: nothing is late together, however far apart the groups are."""
    assert pool_design_effect([([9, 9, 9], [10, 10, 10]), ([2, 2, 2], [10, 10, 10])])[:2] == (1.0, 4)
    assert pool_design_effect([([5], [9]), ([4, 4], [4, 4])]) is None and pool_design_effect([]) is None
    # by hand: z / t(4) = 1.959964 / 2.776445
    assert count_effective(30, CommonEffect(3.0, 4)) == pytest.approx(10 * (1.959964 / 2.776445) ** 2)
    assert count_effective(1, CommonEffect(3.0, 4)) == 1
    # few clusters in all, so these are the items; from 8 degrees of freedom on the effect is believed
    assert count_effective([30, 30], CommonEffect(1.0, 7), clusters=[2, 40]) == pytest.approx(
        [2, 30 * (1.959964 / 2.364624) ** 2]
    )
    assert count_effective(30, CommonEffect(1.0, 8), clusters=[2]) == pytest.approx(30 * (1.959964 / 2.306004) ** 2)


def test_runs_of_good_and_bad_clusters_widen_the_effect():
    """Three good, three bad, and so on, in each of four groups: by cluster 12 / 11 * 12 * 25 / (12 * 10 / 4) = 10.909; three in a row as
    one of 30, 4 / 3 * 4 * 225 / 30 = 40, on 12 degrees of freedom. Where good and bad take turns, or groups are few, nothing widens."""
    runs, turns = ([10] * 3 + [0] * 3) * 2, [10, 0] * 6
    found = pool_lasting_effect([(runs, [10] * 12)] * 4)
    assert found == pytest.approx((40, 12, 10, 1, 48)) and pool_design_effect([(runs, [10] * 12)] * 4).effect == pytest.approx(
        10.909, abs=1e-3
    )
    assert pool_lasting_effect([(turns, [10] * 12)] * 4) == pool_design_effect([(turns, [10] * 12)] * 4)
    assert pool_lasting_effect([(runs, [10] * 12)] * 2).df == 22
    assert pool_lasting_effect([([5], [9])]) is None


def test_few_clusters_promise_no_more_than_clusters():
    """Seven calls of which each was nearly whole: seven items, although they vary hardly; eight are believed as far as the groups' effect."""
    seven, eight = (([14, 15] * n)[:n] for n in (7, 8))
    assert korn_graubard(seven, [15] * 7).effective > 50
    held = hold_share(korn_graubard(seven, [15] * 7), None)
    room = 0.025 ** (1 / 7)
    few = clopper_pearson(7 * 101 / 105, 7)
    assert held[3:] == pytest.approx((min(few[0], 101 / 105 * room), max(few[1], 1 - 4 / 105 * room), 7, 7, 7))
    assert hold_share(korn_graubard(eight, [15] * 8), None).effective == 8, "nor are eight enough where no other vessel has any"
    held = hold_share(korn_graubard(eight, [15] * 8), CommonEffect(10.0, 30, seen=15))
    assert held.effective == pytest.approx(12 * (1.959964 / 2.042272) ** 2) and held.share == 116 / 120
    assert hold_share(korn_graubard([3, 4], [5, 5]), None) == korn_graubard([3, 4], [5, 5])


def test_a_few_large_clusters_beside_many_small_are_few():
    """By hand: 60 twice and 3 twelve times weigh as 156^2 / (2 * 3600 + 12 * 9) = 3.330 clusters; equal ones count singly."""
    large = korn_graubard([60, 60] + [3] * 11 + [0], [60] * 2 + [3] * 12)
    assert large.clusters == 14 and large.equal_clusters == pytest.approx(3.33005, abs=1e-5)
    held = hold_share(large, None)
    assert held.effective == pytest.approx(3.33005, abs=1e-5) and held.low < 0.4 < 0.8 < large.low
    assert korn_graubard([3] * 9, [4] * 9).equal_clusters == 9


def test_none_seen_of_so_many_leaves_room_for_some():
    """Twenty calls of which each was all but whole, 58 of 60: up to 1 - .025^(1/20) = 16.8 % of calls may be wholly late for all that."""
    told = korn_graubard([58] * 19 + [57], [60] * 20)
    held = hold_share(told, None)
    assert 0.025 ** (1 / 20) == pytest.approx(0.8316, abs=1e-4)
    assert told.low > 0.95 and held.low == pytest.approx(0.8316 * told.share, abs=1e-4) and held.effective == told.effective
    among_400 = CommonEffect(1.0, 380, 60, 0.0, 400)
    assert hold_share(told, among_400).low == pytest.approx(min(told.low, told.share * 0.025 ** (1 / 400)), abs=2e-3), (
        "seen by others too"
    )
    assert hold_share(korn_graubard(([58] * 19 + [57]) * 20, [60] * 400), None).low == pytest.approx(told.low, abs=0.015)


def test_what_items_of_a_cluster_have_in_common_counts_for_clusters_of_another_size():
    """Whole calls of ten late, so rho is 1: a vessel's call of sixty is one item too. Equal clusters keep the effect to the last digit."""
    small = [([10] * 5 + [0], [10] * 6)] * 3
    common = pool_design_effect(small)
    assert common == pytest.approx((12, 15, 10, 1, 18))
    assert common.scale([10, 60]) == pytest.approx([12, 72])
    assert count_effective([60, 60], common, clusters=[6, 1]) == pytest.approx([5 * (1.959964 / 2.131450) ** 2, 1])


def test_large_clusters_that_went_well_do_not_hide_small_ones_that_went_wrong():
    """Weighted by size the calls of 100, late in ones, leave rho of the few that were wholly late next to nothing; call by call they don't."""
    large, small = ([97] * 6, [100] * 6), ([4] * 9 + [0] * 3, [4] * 12)
    common = pool_design_effect([large, small])
    assert (common.effect - 1) / (common.size - 1) < 0.05 and common.rho > 0.7


def test_a_single_cluster_varies_about_the_share_of_all():
    """Two vessels of six calls in time but for single services, a third whose only call was late: that tells how much calls may differ.
    By hand: share of all 112 / 180, (0 - 60 * .6222)^2 / (1 - 60 / 180) = 2090.7."""
    vessels = [([9, 9, 9, 10, 9, 10], [10] * 6)] * 2
    alone, with_single = pool_design_effect(vessels), pool_design_effect([*vessels, ([0], [60])])
    assert alone.effect == 1 and with_single.df == 10
    within = 2 * 6 / 5 * (4 * (1 / 3) ** 2 + 2 * (2 / 3) ** 2)
    parts = 2 * 60 * (56 / 60) * (4 / 60) + 60 * (112 / 180) * (68 / 180)
    assert with_single.effect == pytest.approx((2090.667 + within) / parts, rel=1e-4) and with_single.rho > 0.9
