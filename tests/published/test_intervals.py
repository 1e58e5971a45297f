"""Intervals against published tables."""

import pytest

from pipeline.figures.statistics.intervals import garwood, wilson

# Garwood F. (1936), Biometrika 28:437, as tabulated by Ulm K. (1990), Am. J. Epidemiol. 131:373 and recomputed with
# R's poisson.test; 95 % limits of a Poisson mean.
GARWOOD = {
    0: (0, 3.68888), 1: (0.02532, 5.57164), 2: (0.24221, 7.22469), 3: (0.61867, 8.76727), 4: (1.08987, 10.24159),
    5: (1.62349, 11.66833), 10: (4.79539, 18.39036), 11: (5.49116, 19.68204), 20: (12.21652, 30.88838),
    50: (37.11096, 65.91877), 100: (81.36399, 121.62679),
}  # fmt: skip

# Newcombe R. G. (1998), Statistics in Medicine 17:857, table I, method 3 (score without continuity correction), 95 %.
WILSON = {
    (81, 263): (0.2553, 0.3662), (15, 148): (0.0624, 0.1605), (0, 20): (0, 0.1611), (1, 29): (0.0061, 0.1718),
    (29, 29): (0.8830, 1),
}  # fmt: skip


@pytest.mark.parametrize("events, limits", GARWOOD.items())
def test_garwood_gives_the_tabulated_limits(events, limits):
    assert garwood(events) == pytest.approx(limits, abs=6e-6)


def test_garwood_at_another_confidence():
    # R poisson.test(10, conf.level = 0.998)
    assert garwood(10, 0.998) == pytest.approx((2.96052, 24.13397), abs=6e-6)


def test_garwood_of_a_rate_scales_with_exposure():
    # R's help page of poisson.test: 137 events in 24.19893 give 4.753125 to 6.692709 around 5.661407
    low, high = garwood(137)
    assert (low / 24.19893, 137 / 24.19893, high / 24.19893) == pytest.approx((4.753125, 5.661407, 6.692709), abs=1e-6)


def test_garwood_refuses_a_negative_count():
    with pytest.raises(ValueError, match="negative"):
        garwood(-1)


@pytest.mark.parametrize("counts, limits", WILSON.items())
def test_wilson_gives_the_tabulated_limits(counts, limits):
    assert wilson(*counts) == pytest.approx(limits, abs=5.1e-5)


@pytest.mark.parametrize("counts", [(3, 0), (5, 4), (-1, 4)])
def test_wilson_refuses_impossible_counts(counts):
    with pytest.raises(ValueError):
        wilson(*counts)
