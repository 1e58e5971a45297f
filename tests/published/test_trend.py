"""Mann-Kendall and Sen against other software."""

import numpy as np
import pytest

from pipeline.figures.statistics.trend import find_trend

# Flow of the Nile at Aswan 1871 to 1970 (Cobb G. W. 1978, Biometrika 65:243), public domain
NILE = [
    1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960, 1180, 799, 958, 1140,
    1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774, 840, 874, 694, 940, 833, 701, 916, 692, 1020, 1050, 969,
    831, 726, 456, 824, 702, 1120, 1100, 832, 764, 821, 768, 845, 864, 862, 698, 845, 744, 796, 1040, 759,
    781, 865, 845, 944, 984, 897, 822, 1010, 771, 676, 649, 846, 812, 742, 801, 1040, 860, 874, 848, 890,
    744, 749, 838, 1050, 918, 986, 797, 923, 975, 815, 1020, 906, 901, 1170, 912, 746, 919, 718, 714, 740,
]  # fmt: skip


def test_the_nile_fell():
    # computed with R cor.test and pymannkendall: S, variance with ties, z with continuity correction, p, Sen's slope
    found = find_trend(NILE)
    assert (found.s, found.variance) == (-1387, pytest.approx(112728.33, abs=0.01))
    assert (found.z, found.slope) == pytest.approx((-4.128067, -2.6), abs=1e-6)
    assert found.p == pytest.approx(3.6583e-5, abs=1e-9)


def test_a_line_and_its_mirror():
    """By hand: n = 5, all 10 pairs rise; variance 5 * 4 * 15 / 18."""
    up, down = find_trend([1, 3, 5, 7, 9]), find_trend([9, 7, 5, 3, 1])
    assert (up.s, up.variance, up.slope) == (10, pytest.approx(50 / 3), 2) and up.z == pytest.approx(9 / (50 / 3) ** 0.5)
    assert (down.s, down.z, down.p, down.slope) == (-10, -up.z, up.p, -2)


def test_a_step_left_out_keeps_its_place():
    found = find_trend([1, np.nan, 3, 4])
    assert (found.s, found.slope) == (3, 1) and found.variance == pytest.approx(3 * 2 * 11 / 18)


def test_ties_take_from_the_variance():
    """By hand: 1 1 2, one pair tied: (3 * 2 * 11 - 2 * 1 * 9) / 18; S = 2."""
    assert find_trend([1, 1, 2])[:2] == (2, pytest.approx(48 / 18))


@pytest.mark.parametrize("values", [[], [4.0], [np.nan, np.nan]])
def test_too_short_to_go_anywhere(values):
    assert find_trend(values) == (0, 0.0, 0.0, 1.0, None)
    assert find_trend([2, 2, 2]) == (0, 0.0, 0.0, 1.0, 0)
