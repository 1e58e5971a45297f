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


# Monthly rainfall at Bogra, mm, 1981 to 2010, - where none was read: with ties and gaps; as in the public tests of pyMannKendall.
RAIN = """32 20 25 189 240 193 379 278 301 0 0 82 0 4 - - 121 234 360 262 120 30 11 1 7 3 31 31 355 102 248 274 308 - 5 26 11 16 6 48
 388 539 431 272 404 186 0 2 0 4 1 54 272 459 235 164 365 135 2 - - 4 0 128 210 163 446 225 462 467 19 13 0 3 17 132 178 338 525 623
 145 31 19 3 0 29 25 87 259 756 486 180 292 43 92 1 0 16 2 0 130 253 594 111 273 30 0 4 0 27 24 41 292 378 499 265 320 227 4 0 4 14 8
 48 416 240 404 207 733 105 0 112 0 14 0 30 140 202 289 159 424 106 3 0 65 3 14 58 268 466 432 266 240 95 1 0 10 26 4 114 94 289 173
 208 263 156 5 0 16 16 14 0 111 475 534 432 471 117 70 1 3 28 7 401 184 283 338 171 335 176 0 0 10 11 9 140 102 208 298 245 220 29 2 27
 10 13 26 84 143 367 749 563 283 353 10 0 0 0 0 9 246 265 343 429 168 133 17 0 18 35 76 158 272 250 190 289 466 84 0 0 0 0 0 22 217 299
 185 115 344 203 8 - - 0 5 284 123 254 476 496 326 27 20 0 4 53 72 113 214 364 219 220 156 264 0 13 0 0 45 90 137 638 529 261 206 251 0
 0 5 9 58 72 138 130 471 328 356 523 0 1 0 0 12 143 193 184 192 138 174 69 1 0 0 18 25 28 92 732 320 256 302 131 15 0 27 0 22 20 213
 393 474 374 109 159 0 0 0 3 3 49 205 128 194 570 169 89 0 0 0 0 0 26 185 286 92 225 244 190 3 20"""


def test_rain_goes_no_way():
    """S, variance with ties, z and p as those tests print them, which hold them against R; the slope keeps the gaps' places (1.4.3)."""
    values = [np.nan if cell == "-" else float(cell) for cell in RAIN.split()]
    found = find_trend(values)
    assert len(values) == 360 and found.s == -1959 and found.variance == pytest.approx(4889800.333, abs=1e-3)
    assert (found.z, found.p) == pytest.approx((-0.8854562842589916, 0.37591058740506833), abs=1e-12)
    assert found.slope == pytest.approx(-0.0063694, abs=5e-8)
