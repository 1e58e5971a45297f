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


# Klein J. P., Moeschberger M. L. (2003) Survival Analysis: 26 psychiatric patients, age at admission, years followed, died (1), as
# lifelines has them; 96 men of the Channing house, months of age at entry and at the end, died (1), as KMsurv has them without
# the one whose entry isn't before its end.
PATIENTS = """51 1 1 58 1 1 55 2 1 28 22 1 21 30 0 19 28 1 25 32 1 48 11 1 47 14 1 25 36 0 31 31 0 24 33 0 25 33 0 30 37 0 33 35 0 36 25 1
 30 31 0 41 22 1 43 26 1 45 24 1 35 35 0 29 34 0 35 30 0 32 35 1 36 40 1 32 39 0"""
MEN = """782 909 1 1020 1128 1 856 969 1 915 957 1 863 983 1 906 1012 1 955 1055 1 943 1025 1 943 1043 1 837 945 1 966 1009 1 936 971
 1 919 1033 1 852 869 1 1073 1139 1 925 1036 1 967 1085 1 806 943 0 969 1001 0 923 1060 0 865 1002 0 953 1031 0 871 945 0 982
 1006 0 883 959 0 817 843 0 875 1012 0 821 956 0 936 1073 0 971 1107 0 830 940 0 885 911 0 894 1031 0 893 996 0 866 895 0 878
 1015 0 820 957 0 1007 1043 0 879 1016 0 956 1093 0 854 989 1 890 1027 0 1041 1044 0 978 1005 0 836 973 0 938 1064 0 886 1023
 0 876 1013 0 955 977 0 823 960 0 960 1047 0 843 943 0 856 951 0 847 984 0 1027 1058 0 988 1045 0 978 1018 0 981 1118 0 926
 970 0 1036 1070 0 1016 1153 0 969 1106 0 900 936 0 898 906 0 846 866 0 964 1029 1 984 1053 1 1046 1080 1 871 872 1 847 893 1
 962 966 0 853 894 1 967 985 1 1063 1094 1 856 927 1 865 948 1 1051 1059 1 1010 1012 1 878 911 1 1021 1094 1 959 972 0 921
 993 1 836 876 1 919 993 1 751 777 1 906 966 1 835 907 1 946 1031 1 759 781 1 909 914 0 962 998 1 984 1022 1 891 932 1 835
 898 1 1039 1060 1 1010 1044 1"""


def read_lives(text: str) -> np.ndarray:
    return np.array(text.split(), float).reshape(-1, 3).T


def test_patients_by_age():
    """R survival, Surv(entry, exit, event); lifelines gives the same."""
    entry, years, event = read_lives(PATIENTS)
    found = kaplan_meier(entry, entry + years, event)
    assert len(entry) == 26 and found.time.tolist() == [47, 50, 52, 57, 59, 61, 63, 67, 69, 76]
    expected = [0.95238, 0.90909, 0.86580, 0.78334, 0.69631, 0.60927, 0.55388, 0.48464, 0.29079, 0]
    assert found.survival == pytest.approx(expected, abs=6e-6)


def test_few_at_first_and_a_curve_from_where_there_are_enough():
    """R survival: 0 already at 68 where the first few died; given alive at 68, at 70 75 80 85 90."""
    entry, until, event = read_lives(MEN)
    assert len(entry) == 96 and (entry < until).all()
    every = kaplan_meier(entry / 12, until / 12, event)
    assert every.survival[np.searchsorted(every.time, 68) - 1] == 0
    found = kaplan_meier(entry / 12, until / 12, event, start=68)
    at = np.append(1.0, found.survival)[np.searchsorted(found.time, [70, 75, 80, 85, 90], "right")]
    assert at == pytest.approx([1, 0.804531, 0.637761, 0.454373, 0.222707], abs=6e-7)


# Singer J. D., Willett J. B. (2003) Applied Longitudinal Data Analysis, chapter 11, as the pages of the University of California at Los
# Angeles print it: boys at risk and events in grades 7 to 12, without and with a parenting transition, and the shares still waiting.
GRADES = {
    "none": ([72, 70, 68, 60, 52, 42], [2, 2, 8, 8, 10, 8], [0.9722, 0.9444, 0.8333, 0.7222, 0.5833, 0.4722]),
    "one": ([108, 95, 90, 74, 53, 38], [13, 5, 16, 21, 15, 18], [0.8796, 0.8333, 0.6852, 0.4907, 0.3519, 0.1852]),
}  # fmt: skip


@pytest.mark.parametrize("at_risk, events, waiting", GRADES.values(), ids=GRADES)
def test_life_table_by_grade(at_risk, events, waiting):
    left = at_risk[-1] - events[-1]
    until = np.concatenate([np.repeat(np.arange(7, 13), events), np.full(left, 12)])
    found = kaplan_meier(None, until, np.arange(len(until)) < sum(events))
    assert found.at_risk.tolist() == at_risk and found.events.tolist() == events
    assert found.survival == pytest.approx(waiting, abs=5.1e-5)
