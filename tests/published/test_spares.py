"""Spare charges of SOLAS II-2/10.3.3.1: all of the first ten, half of the rest, at most sixty.

In: the macro spares_required(n, first, share, cap) of pipeline/duties/macros.sql and the numbers of baseline/placement.toml.
The text (read in a page that quotes it: club.imarine.cn/shiptec/129334.html) has no worked example, and says nothing of half a charge:
it rounds up here. The same words of French Division 229, article 229-II-2.12, were read in full.
"""

import tomllib
from importlib.resources import files
from pathlib import Path

import duckdb
import pytest

MACROS_FILE = Path(__file__).parents[2] / "pipeline" / "duties" / "macros.sql"
SOLAS = [
    (0, 0),  # no unit: 0
    (4, 4),  # all of the first ten: 4
    (10, 10),  # all of the first ten: 10
    (11, 11),  # 10 + 0.5, rounded up
    (12, 11),  # 10 + 1
    (15, 13),  # 10 + 2.5, rounded up
    (20, 15),  # 10 + 5
    (30, 20),  # 10 + 10
    (31, 21),  # 10 + 10.5, rounded up
    (50, 30),  # 10 + 20
    (108, 59),  # 10 + 49: the last number below the cap
    (109, 60),  # 10 + 49.5, rounded up: 60
    (110, 60),  # 10 + 50: 60
    (120, 60),  # 10 + 55, capped
    (200, 60),  # 10 + 95, capped
]
# 46 CFR 167.45-70(a)(1), table of extra charges (read): half of them, a fraction gives the next whole number.
HALF = [(1, 1), (2, 1), (3, 2), (4, 2), (5, 3)]


@pytest.fixture(scope="module")
def required():
    con = duckdb.connect()
    con.execute(MACROS_FILE.read_text(encoding="utf-8"))
    yield lambda *numbers: con.execute("select spares_required(?, ?, ?, ?)", numbers).fetchone()[0]
    con.close()


@pytest.fixture(scope="module", params=["solas-spare-charges", "solas-spare-units"])
def rule(request):
    content = tomllib.loads(files("pipeline.duties").joinpath("baseline/placement.toml").read_text(encoding="utf-8"))
    return next(rule for rule in content["number"] if rule["rule_id"] == request.param)


@pytest.mark.parametrize(("units", "spares"), SOLAS)
def test_solas_spares_by_the_numbers_of_the_rule(required, rule, units: int, spares: int):
    assert required(units, rule["first"], rule["share"], rule["cap"]) == spares


@pytest.mark.parametrize(("units", "spares"), HALF)
def test_half_of_each_as_the_published_table_has_it(required, units: int, spares: int):
    assert required(units, 0, 0.5, None) == spares


def test_one_more_unit_never_asks_for_fewer_spares_nor_for_two_more(required):
    found = [required(units, 10, 0.5, 60) for units in range(300)]
    assert all(0 <= after - before <= 1 for before, after in zip(found, found[1:], strict=False))


# Ours, no source needed: a tenth of 30 is 3, though 0.1 is no binary fraction and 0.1 * 30 lies above 3.
def test_a_share_that_binary_numbers_miss_is_not_rounded_up(required):
    assert required(30, 0, 0.1, None) == 3


def test_an_unknown_number_asks_for_an_unknown_number(required):
    assert required(None, 10, 0.5, 60) is None
