"""What replacing now, at the next pressure test or keeping is expected to cost, worked by hand; prices checked key by key.

In: a list with chances and prices, or a folder with a file of prices. Out: rows of figure.watch_cost, or the sentence that names a key.
"""

from datetime import date
from importlib.resources import files

import duckdb
import pytest

from pipeline.errors import UserError
from pipeline.figures.build import run_sql
from pipeline.figures.insert import insert_rows
from pipeline.figures.prices import load_prices, part_prices, read_prices

AS_OF = date(2026, 1, 1)
FILE = "exports/rules/prices.toml"
PRICES = """
currency = "EUR"
of = 2025-12-01
lead_days = 73
life_years = 20
failure = 1000
[[unit]]
agent = "powder"
form = "portable"
charge_up_to = 6
replacement = 200
pressure_test = 50
[[unit]]
agent = "powder"
replacement = 400
pressure_test = 80
"""


def weigh(units: list[tuple], kind: str = "chances", prices: str = PRICES) -> dict[str, tuple]:
    """By unit: costs and choices. units: name, hard reason, chance, low, high, next test, how many times the chance without a test."""
    con = duckdb.connect()
    con.execute("create schema figure")
    con.execute("create table figure.back_test_group (grouped_by text, label text, share double, low double, high double)")
    con.execute("insert into figure.back_test_group values ('band', 'first 5 %', .3, .2, .4)")
    con.execute("""create table figure.unit_now (unit_id text, imo_number text, agent text, form text, charge_kg double, charge_l double,
        in_service_on date, made_on date, record_no bigint)""")
    text = files("pipeline.figures").joinpath("watch_list.sql").read_text(encoding="utf-8")
    con.execute(text[: text.index("-- figure.watch_reason")])
    for number, (unit, hard, chance, low, high, due, without) in enumerate(units, 1):
        agent, charge = ("foam", None) if unit == "foam" else ("powder", 9 if unit == "big" else 6)
        insert_rows(con, "figure.unit_now", [(unit, "1", agent, "portable", charge, None, date(2020, 1, 1), None, 1)])
        insert_rows(con, "figure.watch_list", [(number, unit, "1", "in service", hard, kind, "first 5 %", chance, low, high, None, "", "", None, None, None,
                                                None, due, without)])  # fmt: skip
    load_prices(con, read_prices({FILE: prices.encode()}))
    run_sql(con, files("pipeline.figures").joinpath("watch_cost.sql").read_text(encoding="utf-8"), AS_OF)
    found = con.execute(
        "select unit_id, replace_now, replace_at_test, keep, cheapest, cheapest_low, cheapest_high, settled, why_not from figure.watch_cost"
    )
    return {unit: row for unit, *row in found.fetchall()}


def test_a_year_of_each_choice_by_hand():
    """73 days are a fifth of the year: now = .2 x .3 x 1000 + .8 x 200 / 20 = 68; keep = .3 x 1000 = 300."""
    told = weigh([("u", None, 0.3, 0.2, 0.4, date(2030, 1, 1), 1.0)])
    assert told["u"] == [pytest.approx(68), None, pytest.approx(300), *["replace now"] * 4, None]


def test_a_test_that_falls_due_within_the_year():
    """Due in 146 days: at the test = .4 x (.1 x .5) x 1000 + .6 x 10 = 26; now = .2 x .05 x 1000 + 8 = 18; keep = 100 + .9 x 50 = 145."""
    told = weigh([("u", None, 0.1, 0.05, 0.2, date(2026, 5, 27), 0.5)])
    assert told["u"][:3] == [pytest.approx(18), pytest.approx(26), pytest.approx(145)] and told["u"][6] == "replace now"


def test_waiting_for_the_test_where_only_the_test_endangers_it():
    """Chance .0001 without a test: at the test = .4 x .0001 x 1000 + .6 x 10 = 6.04; now = .02 + 8; keep = 10 + .99 x 50."""
    told = weigh([("u", None, 0.01, 0.005, 0.02, date(2026, 5, 27), 0.01)])
    assert told["u"] == [
        pytest.approx(8.02), pytest.approx(6.04), pytest.approx(59.5), *["replace at the next pressure test"] * 4, None,
    ]  # fmt: skip


def test_limits_that_disagree_settle_nothing():
    """Keep costs 1000 p, now 200 p + 8: they cross at p = .01."""
    told = weigh([("u", None, 0.02, 0.005, 0.05, date(2030, 1, 1), 1.0)])
    assert told["u"][3:7] == ["replace now", "keep for now", "replace now", None]


def test_a_hard_reason_is_never_weighed_and_never_kept():
    told = weigh([("u", "lining failed", 0.0001, 0.00001, 0.0002, date(2030, 1, 1), 1.0)])
    assert told["u"] == [None] * 7 + ["a hard reason stands: no cost is weighed"]


def test_the_first_price_that_fits_counts_and_none_is_said():
    told = weigh([("big", None, 0.3, 0.2, 0.4, None, 1.0), ("foam", None, 0.3, 0.2, 0.4, None, 1.0)])
    assert told["big"][:3] == [pytest.approx(0.2 * 300 + 0.8 * 20), None, pytest.approx(300)]
    assert told["foam"][7] == "no price for foam, portable"


def test_bands_take_the_share_of_past_lists_and_the_rule_has_no_cost():
    units = [("u", None, None, None, None, None, 1.0)]
    assert weigh(units, "bands")["u"][2] == pytest.approx(300)
    assert weigh(units, "rule")["u"][7] == "this list gives no chance"


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('currency = "EUR"', "", "currency: is missing"),
        ("lead_days = 73", "lead_days = 7.5", "lead_days: 7.5 is not a whole number"),
        ("life_years = 20", "life_years = 0", "life_years: 0 is out of bounds"),
        ("failure = 1000", "failure = nan", "failure: nan is out of bounds"),
        ("failure = 1000", "failure = true", "failure: True is not a number"),
        ("of = 2025-12-01", 'of = "2025-12-01"', "of: '2025-12-01' is not a date"),
        ('agent = "powder"', 'agent = "sand"', "unit 1: agent: 'sand' is not known"),
        ("replacement = 200", "price = 200", "unit 1: price: is not known"),
        ("replacement = 400", "replacement = -1", "unit 2: replacement: -1 is out of bounds"),
        ("[[unit]]", "[[units]]", "units: is not known"),
        ("lead_days", "lead days", "(whole file): is not valid TOML"),
    ],
)
def test_a_fault_is_named_by_its_key(old, new, said):
    with pytest.raises(UserError) as error:
        read_prices({FILE: PRICES.replace(old, new).encode()})
    assert f"{FILE}, key {said}" in str(error.value)


def test_two_files_of_prices_are_one_too_many():
    with pytest.raises(UserError, match="one file of prices"):
        read_prices({FILE: PRICES.encode(), "b/rules/prices.toml": PRICES.encode()})
    assert read_prices({}) is None
    assert part_prices({FILE: b"", "a/rules/own.toml": b""}) == ({"a/rules/own.toml": b""}, {FILE: b""})


def test_prices_of_a_folder_reach_the_figures(exports, run_on, small_fleet):
    con = run_on(exports(small_fleet | {"rules/prices.toml": PRICES}))[1]
    assert con.execute("select count(*), min(currency) from figure.price").fetchone() == (2, "EUR")
    rows = con.execute("select unit_id, why_not from figure.watch_cost order by unit_id").fetchall()
    assert rows == [("U1", "this list gives no chance"), ("U2", "this list gives no chance")]


def test_without_prices_nothing_is_weighed(exports, run_on, small_fleet):
    con = run_on(exports(small_fleet))[1]
    assert con.execute("select count(*) from figure.watch_cost").fetchone() == (0,)
