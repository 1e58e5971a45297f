"""What replacing now, at the next pressure test or keeping is expected to cost, worked by hand; prices checked key by key.

In: a list with chances and prices, or a folder with a file of prices. Out: rows of figure.watch_cost, or the sentence that names a key.
"""

from datetime import date
from importlib.resources import files

import duckdb
import pytest

from pipeline.errors import UserError
from pipeline.figures.insert import insert_rows
from pipeline.figures.prices import load_prices, part_prices, read_prices
from pipeline.statements import run_sql

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


def weigh(
    units: list[tuple], kind: str = "chances", prices: str = PRICES, unfit: dict[str, str] | None = None
) -> dict[str, tuple]:
    """By unit: costs and choices. unfit: why a unit is not fit now. units: name, hard reason, chance, low, high, next test, how many times the chance without a test."""
    con = duckdb.connect()
    con.execute("create schema figure")
    con.execute("create table figure.back_test_group (grouped_by text, label text, share double, low double, high double)")
    con.execute("insert into figure.back_test_group values ('band', 'first 5 %', .3, .2, .4)")
    con.execute("""create table figure.unit_now (unit_id text, imo_number text, agent text, form text, charge_kg double, charge_l double,
        in_service_on date, made_on date, record_no bigint)""")
    con.execute("create table figure.unfit_now (unit_id text, reason text)")
    insert_rows(con, "figure.unfit_now", list((unfit or {}).items()))
    text = files("pipeline.figures").joinpath("watch_list.sql").read_text(encoding="utf-8")
    con.execute(text[: text.index("-- figure.watch_reason")])
    for number, (unit, hard, chance, low, high, due, without) in enumerate(units, 1):
        agent, charge = ("foam", None) if unit == "foam" else ("powder", 9 if unit == "big" else 6)
        insert_rows(con, "figure.unit_now", [(unit, "1", agent, "portable", charge, None, date(2020, 1, 1), None, 1)])
        insert_rows(con, "figure.watch_list", [(number, unit, "1", "in service", hard, kind, "first 5 %", chance, low, high, None, "", "", None, None, None,
                                                None, due, without)])  # fmt: skip
    load_prices(con, read_prices({FILE: prices.encode()}))
    run_sql(con, files("pipeline.figures").joinpath("watch_cost.sql").read_text(encoding="utf-8"), {"as_of": AS_OF})
    found = con.execute(
        "select unit_id, replace_now, replace_at_test, keep, cheapest, cheapest_low, cheapest_high, settled, why_not from figure.watch_cost"
    )
    return {unit: row for unit, *row in found.fetchall()}


def survive(chance: float, days: float) -> float:
    return (1 - chance) ** (days / 365)


def test_each_choice_by_hand():
    """To twelve months after delivery: 438 days. Now = (1 - .7 ** .2) x 1000 + 200 / 20 = 68.8 + 10; keep = (1 - .7 ** 1.2) x 1000 = 348.2."""
    told = weigh([("u", None, 0.3, 0.2, 0.4, date(2030, 1, 1), 1.0)])
    assert told["u"] == [pytest.approx(78.8, abs=0.1), None, pytest.approx(348.2, abs=0.1), *["replace now"] * 4, None]


def test_a_test_that_falls_due_after_delivery():
    """In 146 days, half the chance .1 comes with it: at the test = (1 - .95 ** .4) x 1000 + .8 x 10; keep also pays it and risks .05."""
    told = weigh([("u", None, 0.1, 0.05, 0.2, date(2026, 5, 27), 0.5)])
    now, at_test, keep = (
        1000 * (1 - survive(0.05, 73)) + 10,
        1000 * (1 - survive(0.05, 146)) + 8,
        1000 * (1 - survive(0.05, 438) + 0.05) + 50,
    )
    assert told["u"][:3] == [pytest.approx(now), pytest.approx(at_test), pytest.approx(keep)] and told["u"][6] == "replace now"


def test_a_test_due_before_delivery_is_paid_in_each_choice():
    """Overdue, or due in 31 of the 73 days: the old unit hangs on, so its test and what it may find stand in both; none waits for it."""
    for due in (date(2025, 6, 1), date(2026, 2, 1)):
        told = weigh([("u", None, 0.1, 0.05, 0.2, due, 0.5)])
        now, keep = (1000 * (1 - survive(0.05, days) + 0.05) + 50 for days in (73, 438))
        assert told["u"][:3] == [pytest.approx(now + 10), None, pytest.approx(keep)]


def test_waiting_for_the_test_where_only_the_test_endangers_it():
    """Chance .0001 without a test: at the test 8 and little more; now 10 and little more; keep pays and risks the test."""
    told = weigh([("u", None, 0.01, 0.005, 0.02, date(2026, 5, 27), 0.01)])
    assert told["u"][1] == pytest.approx(8.04, abs=0.01) and told["u"][0] == pytest.approx(10.02, abs=0.01)
    assert told["u"][3:] == [*["replace at the next pressure test"] * 4, None]


def test_limits_that_disagree_settle_nothing():
    """A new unit costs 10 a year: near a chance of .01 it makes no difference."""
    told = weigh([("u", None, 0.02, 0.005, 0.05, date(2030, 1, 1), 1.0)])
    assert told["u"][3:7] == ["replace now", "keep for now", "replace now", None]


def test_a_longer_lead_costs_more_and_takes_no_price_away():
    """From no lead to two years, with and without a test to come: no choice gets cheaper. A price of 50,000 a year is never settled for."""
    for due in (None, date(2026, 3, 1), date(2026, 9, 1)):
        told = [weigh([("u", None, 0.3, 0.2, 0.4, due, 0.5)], prices=PRICES.replace("lead_days = 73", f"lead_days = {lead}"))["u"]
                for lead in (0, 30, 73, 200, 364, 365, 366, 730)]  # fmt: skip
        for place in (0, 2):
            costs = [row[place] for row in told]
            assert costs == sorted(costs) and costs[-1] > costs[0]
    dear = PRICES.replace("lead_days = 73", "lead_days = 365").replace("replacement = 200", "replacement = 1000000")
    assert weigh([("u", None, 0.3, 0.2, 0.4, None, 1.0)], prices=dear)["u"][6] == "keep for now"


def test_a_unit_that_is_not_fit_now_is_never_weighed():
    told = weigh([("u", None, 0.0001, 0.00001, 0.0002, date(2030, 1, 1), 1.0)], unfit={"u": "label missing"})
    assert told["u"] == [None] * 7 + ["unfit now: label missing"]


def test_a_hard_reason_is_never_weighed_and_never_kept():
    told = weigh([("u", "lining failed", 0.0001, 0.00001, 0.0002, date(2030, 1, 1), 1.0)])
    assert told["u"] == [None] * 7 + ["a hard reason stands: no cost is weighed"]


def test_the_first_price_that_fits_counts_and_none_is_said():
    told = weigh([("big", None, 0.3, 0.2, 0.4, None, 1.0), ("foam", None, 0.3, 0.2, 0.4, None, 1.0)])
    assert told["big"][:3] == [
        pytest.approx(1000 * (1 - survive(0.3, 73)) + 20),
        None,
        pytest.approx(1000 * (1 - survive(0.3, 438))),
    ]
    assert told["foam"][7] == "no price for foam, portable"


def test_bands_take_the_share_of_past_lists_and_the_rule_has_no_cost():
    units = [("u", None, None, None, None, None, 1.0)]
    assert weigh(units, "bands")["u"][2] == pytest.approx(1000 * (1 - survive(0.3, 438)))
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
