"""Rules that meet on one vessel: which are asked, on which days, and what a date of manufacture begins. One fleet, one run:
each company file binds a vessel of its own."""

from __future__ import annotations

from datetime import date

import pytest

from pipeline.explain import explain_unit
from pipeline.run import RunOptions, run
from pipeline.warehouse.build import read_database
from tests.conftest import write_folder

SAID = 'source = "invented"\nclause = "1"\ncertainty = "C"\nabout = "a test"\n'


def imo(number: int) -> str:
    """A number with a valid check digit, in a range that, as far as we know, is given to no ship."""
    digits = f"{999900 + number}"
    return digits + str(sum(int(digit) * weight for digit, weight in zip(digits, range(7, 1, -1), strict=True)) % 10)


EASY, MADE, RENEWED, GROUP, BACK, SPARES, SPLIT, DENTED = (imo(number) for number in range(8))


def head(vessel: str, layer: str = "company", more: str = "") -> str:
    vessels = f'vessels = ["{vessel}"]\n' if layer == "company" else more
    return f'regime = "R"\nlayer = "{layer}"\nbreach_label = "rule"\nabout = "a test"\n{vessels}'


def duty(
    rule_id: str, name: str, months: int, taken: str, more: str = "", counts: str = "unit", basis: str = "service_start"
) -> str:
    return (
        f'[[duty]]\nrule_id = "{rule_id}"\nduty = "{name}"\ntitle = "{name}"\ncounts = "{counts}"\ninterval_months = {months}\n'
        f'first_basis = "{basis}"\nsatisfied_by = [{taken}]\nin_any = {str(counts == "unit").lower()}\n{SAID}{more}\n'
    )


SERVICED = (
    '{ record = "service", kind = "annual_service" }, { record = "service", kind = "pressure_test", tested_part = "shell" }'
)
DISCHARGED = '{ record = "service", kind = "discharge_test" }'
RULES = {
    "easy.toml": head(EASY) + duty("co-easy", "annual_service", 11, '{ record = "inspection" }'),
    "made.toml": head(MADE) + duty("co-made", "annual_service", 12, SERVICED, basis="made_on"),
    # Twice as long for two years in the middle: the baseline is asked before and after.
    "group.toml": head(GROUP) + duty(
        "co-sample", "sample_discharge", 120, DISCHARGED, counts="group", basis="earliest_made_on",
        more='replaces = ["imo-sample-discharge"]\neffective_from = 2022-01-01\neffective_until = 2024-01-01',
    ),
    # A month shorter, for the machinery alone: the older unit there still lends the whole group its date.
    "split.toml": head(SPLIT) + duty(
        "co-machinery", "sample_discharge", 59, DISCHARGED, counts="group", basis="earliest_made_on",
        more='space_categories = ["machinery"]',
    ),
    # Twelve months are first made twenty-four, then twenty; a pressure test cures a dent, and is itself asked no more.
    "long.toml": head(DENTED) + duty("co-long", "annual_service", 24, SERVICED, 'replaces = ["imo-annual-service"]'),
    "dented.toml": head(DENTED)
    + f'[[limit]]\nrule_id = "co-dent"\ntitle = "dent"\nverdict = "doubt"\nmeasure = "dent_depth_mm"\nbreach = "above"\nlimit_value = 3\n'
    f'unit = "mm"\nreading = "worst"\nstands_when_closed = true\ncured_by = ["pressure_test"]\n{SAID}'
    + duty("co-less-long", "annual_service", 20, SERVICED, 'replaces = ["co-long"]')
    + f'[[drop]]\nrule_id = "co-no-test"\ntitle = "d"\ndrops = ["imo-pressure-test"]\n{SAID}',
    "xc.toml": head(BACK, "flag", 'flag = "XC"\n')
    + duty("xc-half", "annual_service", 6, SERVICED, 'replaces = ["imo-annual-service"]')
    + f'[[number]]\nrule_id = "xc-spares"\ntitle = "n"\nmeasure = "spare_charges"\nfirst = 2\nshare = 0\nby = "vessel"\n{SAID}'
    + 'replaces = ["solas-spare-charges"]\n',
    "spares.toml": head(SPARES) + '[[number]]\nrule_id = "co-large"\ntitle = "n"\nmeasure = "spare_charges"\nfirst = 1\nshare = 0\n'
    f'by = "vessel"\ngross_tonnage_from = 500\nreplaces = ["solas-spare-charges"]\n{SAID}',
    "back.toml": head(BACK) + f'[[drop]]\nrule_id = "co-back"\ntitle = "d"\ndrops = ["xc-half", "xc-spares"]\n{SAID}',
}  # fmt: skip
UNITS = f"""unit_id,imo_number,agent,form,expelled_by,charge_kg,made_on,in_service_on,cartridge_made_on,space_category
    E1,{EASY},powder,portable,stored_pressure,6,2019-06-30,2020-01-01,,
    E2,{EASY},powder,portable,stored_pressure,6,2019-06-30,2020-01-01,,
    M1,{MADE},powder,portable,stored_pressure,6,2025-04-30,2025-12-01,,
    R1,{RENEWED},powder,portable,cartridge,6,2010-01-01,2010-06-01,2022-03-01,
    R2,{RENEWED},powder,portable,cartridge,6,2005-01-01,2005-06-01,2022-03-01,
    R3,{RENEWED},powder,portable,cartridge,6,2010-01-01,2010-06-01,2008-03-01,
    G1,{GROUP},powder,portable,stored_pressure,6,2015-01-01,2015-06-01,,
    B1,{BACK},powder,portable,stored_pressure,6,2019-06-30,2020-01-01,,
    S1,{SPARES},powder,portable,stored_pressure,6,2019-06-30,2020-01-01,,
    P1,{SPLIT},powder,portable,stored_pressure,6,2020-01-01,2020-06-01,,machinery
    P2,{SPLIT},powder,portable,stored_pressure,6,2020-12-01,2021-01-01,,galley
    D1,{DENTED},co2,portable,self_pressure,5,2019-06-30,2020-01-01,,"""
SERVICES = f"""unit_id,imo_number,serviced_on,kind,tested_part,outcome
    E1,{EASY},2024-03-01,annual_service,,satisfactory
    E2,{EASY},2026-01-01,annual_service,,satisfactory
    R1,{RENEWED},2015-05-01,pressure_test,both,satisfactory
    B1,{BACK},2025-09-01,annual_service,,satisfactory
    S1,{SPARES},2025-09-01,annual_service,,satisfactory
    D1,{DENTED},2023-06-01,pressure_test,shell,satisfactory"""
FOUND = f"""unit_id,imo_number,found_on,found_by,component,defect,severity,dent_depth_mm
    D1,{DENTED},2022-05-01,service,shell,dent,minor,6
    D1,{DENTED},2025-02-01,service,shell,dent,minor,4"""
LOOKS = f"""unit_id,imo_number,inspected_on,outcome
    E1,{EASY},2026-05-01,satisfactory
    E2,{EASY},2025-03-01,satisfactory"""


@pytest.fixture(scope="module")
def ask(tmp_path_factory):
    """A query function on the fleet's database; `ask.db` is where it lies."""
    folder = tmp_path_factory.mktemp("together")
    vessels = "\n".join(
        f"{vessel},V,{'XC' if vessel == BACK else 'XA'}" for vessel in (EASY, MADE, RENEWED, GROUP, BACK, SPARES, SPLIT, DENTED)
    )
    write_folder(
        folder / "exports",
        {
            "vessel.csv": "imo_number,vessel_name,flag\n" + vessels,
            "unit.csv": UNITS,
            "service.csv": SERVICES,
            "inspection.csv": LOOKS,
            "finding.csv": FOUND,
            **{f"rules/{name}": text for name, text in RULES.items()},
        },
    )
    run(RunOptions((folder / "exports",), folder / "store", folder / "f.duckdb", date(2026, 5, 10)))
    with read_database(folder / "f.duckdb") as con:

        def query(sql: str) -> list[tuple]:
            return con.execute(sql).fetchall()

        query.db = folder / "f.duckdb"
        yield query


def stands(ask, unit: str, name: str = "annual_service") -> list[tuple]:
    return ask(f"select state, rule_id, due_on::varchar from figure.duty_now where unit_id = '{unit}' and duty = '{name}'")


def overdue_months(ask, vessel: str, name: str) -> dict[str, int]:
    return dict(
        ask(f"select month_end::varchar, overdue from figure.overdue_monthly where imo_number = '{vessel}' and duty = '{name}'")
    )


def test_a_shorter_rule_that_takes_easier_proof_does_not_hide_the_longer_one(ask):
    """Looked at last week, serviced two years ago: the company's eleven months are met, the twelve of the baseline are not."""
    assert stands(ask, "E1") == [("overdue", "imo-annual-service", "2025-03-01")]


def test_nor_does_the_longer_one_hide_the_shorter(ask):
    """Serviced in January, last looked at fourteen months ago."""
    assert stands(ask, "E2") == [("overdue", "co-easy", "2026-02-01")]


def test_both_rules_are_in_force_and_a_unit_is_counted_once(ask):
    rules = "select distinct rule_id from duty.in_force join duty.stay using (stay_no) join duty.rule using (rule_id)"
    assert ask(f"{rules} where unit_id = 'E1' and duty = 'annual_service' order by all") == [
        ("co-easy",),
        ("imo-annual-service",),
    ]
    counts = "select units, overdue from figure.overdue_monthly where duty = 'annual_service' and month_end = '2026-05-10'"
    assert ask(f"{counts} and imo_number = '{EASY}'") == [(2, 2)]


def test_equal_intervals_from_another_first_basis_are_both_asked(ask):
    """Never serviced; made a year and some days ago, in service for five months."""
    assert stands(ask, "M1") == [("overdue", "co-made", "2026-04-30")]


def test_a_rule_of_equal_length_and_proof_yields_to_the_stronger_layer(ask):
    """Where nothing differs but the layer, one rule alone is asked."""
    shell = "select count(distinct rule_id) from duty.in_force join duty.stay using (stay_no) join duty.rule using (rule_id)"
    assert ask(f"{shell} where unit_id = 'S1' and duty = 'annual_service'") == [(1,)]


def test_a_new_cartridge_starts_its_own_clock(ask):
    """Tested in 2015, the cartridge of 2022 fitted since: ten years from its manufacture, not from the old one's test."""
    spans = ask(
        "select basis_on::varchar, basis_kind, due_on::varchar, done_on::varchar, done_kind from duty.span "
        "where unit_id = 'R1' and duty = 'cartridge_test' order by basis_on"
    )
    assert spans == [
        ("2010-01-01", "made_on", "2020-01-01", "2015-05-01", "pressure_test"),
        ("2015-05-01", "pressure_test", "2025-05-01", "2022-03-01", "cartridge_made_on"),
        ("2022-03-01", "cartridge_made_on", "2032-03-01", None, None),
    ]


def test_a_cartridge_made_later_lends_no_date_to_the_days_before(ask):
    """R2 hung overdue from 2015 until the cartridge of March 2022 was made; R3's cartridge is older than the unit: from 2018."""
    months = overdue_months(ask, RENEWED, "cartridge_test")
    late = {unit: stands(ask, unit, "cartridge_test") for unit in ("R2", "R3")}
    assert late == {
        "R2": [("in time", "imo-cartridge-test", "2032-03-01")],
        "R3": [("overdue", "imo-cartridge-test", "2018-03-01")],
    }
    assert (months["2024-03-31"], months["2026-05-10"]) == (1, 1)
    was_late = ask(
        "select due_on::varchar, done_on::varchar from duty.span where unit_id = 'R2' and duty = 'cartridge_test' order by basis_on"
    )
    assert was_late == [("2015-01-01", "2022-03-01"), ("2032-03-01", None)]


def test_a_group_is_judged_by_its_rule_on_the_days_of_that_rule_only(ask):
    judged = ask(
        f"select rule_id, due_on::varchar, judged_from::varchar, judged_to::varchar from duty.span where imo_number = '{GROUP}' "
        "and duty = 'sample_discharge' order by judged_from"
    )
    assert judged == [
        ("imo-sample-discharge", "2020-01-01", "2015-06-01", "2022-01-01"),
        ("co-sample", "2025-01-01", "2022-01-01", "2024-01-01"),
        ("imo-sample-discharge", "2020-01-01", "2024-01-01", None),
    ]


def test_a_rule_taken_away_gives_back_the_rule_that_it_had_replaced(ask):
    assert stands(ask, "B1") == [("in time", "imo-annual-service", "2026-09-01")]
    numbers = ask(
        f"select rule_id from duty.vessel_in_force where imo_number = '{BACK}' and rule_id like '%spare%charges' or rule_id = 'xc-spares'"
    )
    assert numbers == [("solas-spare-charges",)]


def test_a_rule_for_large_vessels_hides_no_other_where_nobody_knows_how_large_she_is(ask):
    numbers = f"select rule_id from duty.vessel_in_force join duty.number using (rule_id) where imo_number = '{SPARES}' "
    assert ask(numbers + "and measure = 'spare_charges' order by all") == [("co-large",), ("solas-spare-charges",)]


def test_a_group_rule_for_some_of_a_group_takes_no_date_from_the_others(ask):
    """P1, the older, hangs in the machinery: the company asks that part a month sooner, and the baseline still asks the whole."""
    due = ask(
        f"select rule_id, due_on::varchar from duty.span where imo_number = '{SPLIT}' and duty = 'sample_discharge' order by due_on"
    )
    assert due == [("co-machinery", "2024-12-01"), ("imo-sample-discharge", "2025-01-01")]


def test_a_cured_dent_hides_none_that_was_found_since(ask):
    """6 mm found before the pressure test, 4 mm after it: the test cures the first alone."""
    found = ask("select verdict, value, seen_on::varchar from figure.verdict where unit_id = 'D1' and rule_id = 'co-dent'")
    assert found == [("doubt", 4.0, "2025-02-01")]


def test_what_asks_less_is_held_against_every_rule_that_it_stands_for(ask):
    said = dict(ask("select rule_id, loosens from duty.provision where rule_id like 'co-%long'"))
    assert said["co-long"] == "imo-annual-service: interval of 24 months instead of 12"
    assert said["co-less-long"] == "imo-annual-service: interval of 20 months instead of 12"


def test_explain_says_what_asks_less_of_the_unit_though_nothing_stands_against_it(ask):
    lines = [line.strip() for line in explain_unit(ask.db, "D1") if "ASKS LESS" in line]
    assert [line.split(": ", 1)[1].split(" (")[0] for line in lines] == ["rule co-less-long", "rule co-no-test"]
    assert lines[1].endswith("takes away imo-pressure-test")
    assert not [line for line in explain_unit(ask.db, "S1") if "ASKS LESS" in line]
