"""Rules that change, layers that meet: who is bound by what on which day. Each case is a vessel or two and a few dates.

Units A1 (powder, cartridge) and A2 (CO2) hang aboard from 2020-01-01; what differs stands in the case.
"""

from __future__ import annotations

from datetime import date

import pytest

from pipeline.cli import main
from tests.conftest import VESSEL_A, VESSEL_B

HEAD = 'regime = "Company"\nlayer = "company"\nbreach_label = "company rule"\nabout = "a test"\n'
FLAG = 'regime = "Flag"\nlayer = "flag"\nflag = "XA"\nbreach_label = "flag mandatory"\nabout = "a test"\n'
SAID = 'source = "invented"\nclause = "1"\ncertainty = "C"\nabout = "a test"\n'


def duty(rule_id: str, months: int, more: str = "", name: str = "annual_service", basis: str = "service_start") -> str:
    kind = "annual_service" if name == "annual_service" else "pressure_test"
    return (
        f'\n[[duty]]\nrule_id = "{rule_id}"\nduty = "{name}"\ntitle = "{name}"\ncounts = "unit"\ninterval_months = {months}\n'
        f'first_basis = "{basis}"\nsatisfied_by = [{{ record = "service", kind = "{kind}" }}]\nin_any = true\n{SAID}{more}\n'
    )


@pytest.fixture
def judge(exports, run_on):
    """Call with rule files and services (unit, day); gives a query function on the database."""

    def call(rules: dict[str, str], services: list[tuple[str, str]], as_of: str = "2026-05-10", extra: str = ""):
        lines = "\n".join(
            f"{unit},{VESSEL_A if unit[0] == 'A' else VESSEL_B},{day},annual_service,satisfactory" for unit, day in services
        )
        folder = exports(
            {
                "vessel.csv": f"imo_number,vessel_name,flag\n{VESSEL_A},Quiet Heron,XA\n{VESSEL_B},Slow Heron,XB",
                "unit.csv": "unit_id,imo_number,agent,form,expelled_by,charge_kg,made_on,in_service_on\n"
                f"A1,{VESSEL_A},powder,portable,cartridge,6,2019-06-30,2020-01-01\n"
                f"A2,{VESSEL_A},co2,portable,self_pressure,5,2019-06-30,2020-01-01\n"
                f"B1,{VESSEL_B},powder,portable,cartridge,6,2019-06-30,2020-01-01" + extra,
                "service.csv": f"unit_id,imo_number,serviced_on,kind,outcome\n{lines}",
                **{f"rules/{name}": text for name, text in rules.items()},
            }
        )
        con = run_on(folder, as_of=date.fromisoformat(as_of))[1]
        return lambda sql: con.execute(sql).fetchall()

    return call


def due(ask, unit: str, name: str = "annual_service") -> list[tuple[str, str]]:
    return ask(f"select rule_id, due_on::varchar from figure.duty_now where unit_id = '{unit}' and duty = '{name}'")


def test_a_rule_change_mid_history_judges_each_day_by_the_rule_of_that_day(judge):
    """12 months until 30 June 2024, 6 from 1 July. Serviced on 2023-12-15: in time until 1 July, when six months are over."""
    ask = judge({"company.toml": HEAD + duty("co-half", 6, "effective_from = 2024-07-01")}, [("A1", "2023-12-15")], "2024-08-31")
    months = dict(
        ask(
            "select month_end::varchar, overdue_unit_days from figure.overdue_monthly where duty = 'annual_service' and "
            f"imo_number = '{VESSEL_A}' and month_end >= '2024-05-31'"
        )
    )
    both = 31 if months["2024-05-31"] == 31 else 0  # A2 was never serviced: late in every month
    assert months == {"2024-05-31": both, "2024-06-30": 30, "2024-07-31": 62, "2024-08-31": 62}
    spans = ask(
        "select rule_id, due_on::varchar, judged_from::varchar, judged_to::varchar from duty.span where unit_id = 'A1' and "
        "duty = 'annual_service' and basis_on = '2023-12-15' order by judged_from"
    )
    assert spans == [
        ("imo-annual-service", "2024-12-15", "2020-01-01", "2024-07-01"),
        ("co-half", "2024-06-15", "2024-07-01", None),
    ]


@pytest.mark.parametrize("day, rule", [("2024-06-30", "imo-annual-service"), ("2024-07-01", "co-half")])
def test_a_past_day_of_report_is_judged_by_the_rule_of_that_day(judge, day, rule):
    ask = judge({"company.toml": HEAD + duty("co-half", 6, "effective_from = 2024-07-01")}, [("A1", "2024-03-01")], day)
    assert due(ask, "A1")[0][0] == rule


def test_a_rule_ends_the_day_before_effective_until(judge):
    text = HEAD + duty("co-half", 6, "effective_until = 2024-07-01")
    assert due(judge({"company.toml": text}, [("A1", "2024-03-01")], "2024-06-30"), "A1") == [("co-half", "2024-09-01")]


def test_after_effective_until_the_baseline_governs_again(judge):
    text = HEAD + duty("co-half", 6, "effective_until = 2024-07-01")
    assert due(judge({"company.toml": text}, [("A1", "2024-03-01")], "2024-07-01"), "A1") == [
        ("imo-annual-service", "2025-03-01")
    ]


def test_a_flag_layer_binds_the_vessels_of_that_flag_only(judge):
    ask = judge({"flag.toml": FLAG + duty("xa-half", 6)}, [("A1", "2026-03-01"), ("B1", "2026-03-01")])
    assert due(ask, "A1") == [("xa-half", "2026-09-01")] and due(ask, "B1") == [("imo-annual-service", "2027-03-01")]


def test_a_company_layer_may_bind_one_vessel(judge):
    text = HEAD + f'vessels = ["{VESSEL_B}"]\n' + duty("co-half", 6)
    ask = judge({"company.toml": text}, [("A1", "2026-03-01"), ("B1", "2026-03-01")])
    assert due(ask, "A1") == [("imo-annual-service", "2027-03-01")] and due(ask, "B1") == [("co-half", "2026-09-01")]


def test_the_shortest_governs_and_a_longer_rule_changes_nothing(judge):
    ask = judge({"company.toml": HEAD + duty("co-long", 24)}, [("A1", "2026-03-01")])
    assert due(ask, "A1") == [("imo-annual-service", "2027-03-01")]
    assert ask("select loosens from duty.provision where rule_id = 'co-long'") == [(None,)]


def test_a_longer_rule_that_takes_the_place_governs_and_is_said_to_ask_less(judge):
    ask = judge(
        {"company.toml": HEAD + duty("co-long", 24, 'replaces = ["imo-annual-service"]\nagents = ["powder"]')},
        [("A1", "2026-03-01"), ("A2", "2026-03-01")],
    )
    assert due(ask, "A1") == [("co-long", "2028-03-01")] and due(ask, "A2") == [("imo-annual-service", "2027-03-01")]
    (said,) = ask("select loosens from duty.provision where rule_id = 'co-long'")[0]
    assert said.startswith("imo-annual-service: interval of 24 months instead of 12")


def test_a_rule_taken_away_asks_nothing_of_what_the_drop_covers(judge):
    text = HEAD + f'\n[[drop]]\nrule_id = "co-none"\ntitle = "none"\ndrops = ["imo-annual-service"]\nagents = ["co2"]\n{SAID}'
    ask = judge({"company.toml": text}, [])
    assert due(ask, "A2") == [] and due(ask, "A1") == [("imo-annual-service", "2021-01-01")]
    assert ask("select loosens from duty.provision where rule_id = 'co-none'") == [("takes away imo-annual-service",)]


KINDS = {
    "duty": duty("co-duty", 1, 'grace_months = 2\nreplaces = ["imo-annual-service"]'),
    "limit": f'[[limit]]\nrule_id = "co-limit"\ntitle = "limit"\nverdict = "unfit"\nmeasure = "charge_lost_pct"\nbreach = "above"\n'
    f'limit_value = 12.5\nunit = "pct"\ncured_by = ["recharge"]\nreplaces = ["trade-co2-charge-lost"]\nagents = ["co2"]\n{SAID}',
    "register": f'[[limit]]\nrule_id = "co-register"\ntitle = "register"\nverdict = "condemn"\nmeasure = "wall_mm_measured"\nbreach = "below"\n'
    f'limit_from = "wall_min_mm"\nunit = "mm"\nreading = "worst"\n{SAID}',
    "ground": f'[[ground]]\nrule_id = "co-ground"\ntitle = "ground"\nverdict = "doubt"\nrecord = "finding"\ncomponents = ["shell", "hose"]\n'
    f'defects = ["leak"]\nwords = ["drip"]\nwithout_words = ["no drip"]\nstands_when_closed = true\n{SAID}',
    "placement": f'[[placement]]\nrule_id = "co-place"\ntitle = "place"\nbreach = "doubtful"\nspace_categories = ["galley"]\n{SAID}',
    "colour": f'[[placement]]\nrule_id = "co-colour"\ntitle = "colour"\nbreach = "colour"\ncolour_zone_expected = "red"\n{SAID}',
    "spares": f'[[number]]\nrule_id = "co-spares"\ntitle = "spares"\nmeasure = "spare_charges"\nfirst = 5\nshare = 0.25\ncap = 9\nby = "agent"\n{SAID}',
    "units": f'[[number]]\nrule_id = "co-units"\ntitle = "units"\nmeasure = "portable_units"\nleast = 3\n{SAID}',
    "drop": f'[[drop]]\nrule_id = "co-drop"\ntitle = "drop"\ndrops = ["imo-cartridge-test", "solas-least-five"]\n{SAID}',
}
LISTED = {
    "duty": "co-duty: annual_service: every month, 2 months of grace",
    "limit": "co-limit: limit: charge lost pct above 12.5 pct, until a later recharge -> unfit (agents co2)",
    "register": "co-register: register: wall mm measured below the register's wall min mm, the worst reading on record -> condemn",
    "ground": "co-ground: ground: finding shell/hose leak, whose text holds drip, whose text does not hold no drip, also once it is closed -> doubt",
    "placement": "co-place: place: doubtful where it stands (space categories galley)",
    "colour": "co-colour: colour: a colour zone other than red",
    "spares": "co-spares: spares: spare charges: for the first 5 and 25% of the rest, 9 at most, counted by agent",
    "units": "co-units: units: portable units: 3 at least",
    "drop": "co-drop: drop: takes rules away",
}


def test_the_command_says_what_a_rule_of_each_kind_asks(exports, run_on, tmp_path, small_fleet, capsys):
    run_on(exports({**small_fleet, "rules/company.toml": HEAD + "\n".join(KINDS.values())}))[1].close()
    assert main(["rules", "--vessel", VESSEL_A, "--db", str(tmp_path / "store-0.duckdb")]) == 0
    lines = capsys.readouterr().out.splitlines()
    own = lines[next(n for n, line in enumerate(lines) if "exports/rules/company.toml" in line) :]
    assert [line.strip() for line in own if line.startswith("  co-")] == list(LISTED.values())
    assert [line.strip() for line in lines if "takes rules away" in line] == [LISTED["drop"]]
    assert [line.strip() for line in own if "ASKS LESS" in line] == [
        "ASKS LESS than the rule it replaces: imo-annual-service: grace of 2 months instead of 0",
        "ASKS LESS than the rule it replaces: trade-co2-charge-lost: limit 12.5 instead of 10 pct",
        "ASKS LESS than the rule it replaces: takes away imo-cartridge-test, solas-least-five",
    ]


@pytest.mark.parametrize("name", ["duties.toml", "fitness.toml", "uk-mgn-276.toml", "nfpa-10.toml"])
def test_a_file_named_like_a_shipped_one_binds_its_own_vessels_and_changes_no_other(judge, name):
    own = {name: HEAD + f'vessels = ["{VESSEL_B}"]\n' + duty("co-half", 6)}
    ask = judge(own, [("A1", "2026-03-01"), ("B1", "2026-03-01")])
    assert due(ask, "A1") == [("imo-annual-service", "2027-03-01")] and due(ask, "B1") == [("co-half", "2026-09-01")]
    assert ask("select distinct imo_number from duty.in_force join duty.stay using (stay_no) where rule_id = 'co-half'") == [
        (VESSEL_B,)
    ]
    strange = "rule_id like 'gb-%' or rule_id like 'nfpa-%'"
    assert ask(f"select count(*) from duty.in_force where {strange}") == [(0,)]
    bound = "select distinct imo_number from duty.in_force join duty.stay using (stay_no) where rule_id = 'imo-pressure-test' order by 1"
    assert ask(bound) == [(VESSEL_B,), (VESSEL_A,)]
    assert ask("select count(*) - count(distinct regime_slug) from duty.binding") == [(0,)]


def test_two_folders_may_name_their_rule_files_alike(exports, run_on, small_fleet):
    """Each binds the vessel that it names."""
    one = exports({**small_fleet, "rules/own.toml": HEAD + f'vessels = ["{VESSEL_A}"]\n' + duty("co-half", 6)}, "one")
    two = exports(
        {
            "vessel.csv": f"imo_number,vessel_name\n{VESSEL_B},Slow Heron",
            "unit.csv": f"unit_id,imo_number,agent,form,charge_kg,made_on,in_service_on\nB1,{VESSEL_B},powder,portable,6,2019-06-30,2020-01-01",
            "rules/own.toml": HEAD + f'vessels = ["{VESSEL_B}"]\n' + duty("co-third", 4),
        },
        "two",
    )
    con = run_on(one, two)[1]
    sql = "select distinct imo_number, rule_id from duty.in_force join duty.stay using (stay_no) where rule_id like 'co-%' order by rule_id"
    assert con.execute(sql).fetchall() == [(VESSEL_A, "co-half"), (VESSEL_B, "co-third")]


def test_a_layer_adopts_a_standard_of_its_own_by_the_name_of_the_file(judge):
    standard = HEAD.replace('layer = "company"', 'layer = "standard"') + duty("own-half", 6)
    ask = judge({"ours.toml": standard, "company.toml": HEAD + 'adopts = ["ours"]\n'}, [("A1", "2026-03-01")])
    assert due(ask, "A1") == [("own-half", "2026-09-01")]


def test_an_adopted_standard_binds(judge):
    ask = judge({"company.toml": HEAD + 'adopts = ["nfpa-10"]\n'}, [])
    assert due(ask, "A2", "pressure_test") == [("nfpa-test-water-foam-co2", "2024-06-30")]


def test_a_standard_that_nobody_adopts_binds_nobody(judge):
    assert judge({}, [])("select count(*) from duty.rule where rule_id like 'nfpa%'") == [(0,)]


def test_a_rule_from_an_age_on(judge):
    """Five-yearly from the sixth birthday, 2025-06-30, on: the day before is judged by ten years."""
    text = HEAD + duty("co-old", 60, "age_from_months = 72", "pressure_test", "made_on")
    assert due(judge({"company.toml": text}, [], "2025-06-29"), "A2", "pressure_test") == [("imo-pressure-test", "2029-06-30")]


def test_a_rule_at_that_age(judge):
    text = HEAD + duty("co-old", 60, "age_from_months = 72", "pressure_test", "made_on")
    assert due(judge({"company.toml": text}, [], "2025-06-30"), "A2", "pressure_test") == [("co-old", "2024-06-30")]


def test_an_attribute_that_is_left_empty_matches_no_scope(judge):
    extra = f"\nA3,{VESSEL_A},,portable,,6,2019-06-30,2020-01-01"
    ask = judge({"company.toml": HEAD + duty("co-half", 6, 'agents = ["powder", "co2", "water", "foam"]')}, [], extra=extra)
    assert due(ask, "A3") == [("imo-annual-service", "2021-01-01")] and due(ask, "A1") == [("co-half", "2020-07-01")]


ANCHOR = 'anchor = "due"\nwindow_before_months = 3\nreplaces = ["imo-annual-service"]'


PLANS = [
    (["2020-12-10"], "2022-01-01"),  # within the window of three months: the plan stands
    (["2020-10-01"], "2022-01-01"),  # first day of the window
    (["2020-09-30"], "2021-09-30"),  # a day before it: counted from the day done
    (["2021-05-05"], "2022-01-01"),  # late: the next comes the sooner
    (["2021-12-31"], "2022-01-01"),  # a whole interval late but a day
    (["2022-01-01"], "2023-01-01"),  # a whole interval late: the plan starts anew
    (["2020-12-20", "2021-12-20", "2022-12-20"], "2024-01-01"),
]


def test_a_date_that_runs_from_the_day_due(judge):
    """A unit a case."""
    units = {f"AP{number}": case for number, case in enumerate(PLANS)}
    extra = "".join(f"\n{unit},{VESSEL_A},powder,portable,cartridge,6,2019-06-30,2020-01-01" for unit in units)
    done = [(unit, day) for unit, (days, _) in units.items() for day in days]
    ask = judge({"company.toml": HEAD + duty("co-plan", 12, ANCHOR)}, done, "2023-01-05", extra)
    assert {unit: due(ask, unit) for unit in units} == {unit: [("co-plan", next_due)] for unit, (_, next_due) in units.items()}


def test_months_ends_do_not_drift_where_dates_run_from_the_day_due(judge):
    """From 31 January by single months: 28 February, then 31 March again, not 28 March."""
    extra = f"\nA4,{VESSEL_A},water,portable,cartridge,,2019-06-30,2023-01-31"
    text = HEAD + duty("co-monthly", 1, 'anchor = "due"\nreplaces = ["imo-annual-service"]')
    ask = judge({"company.toml": text}, [("A4", "2023-02-27")], "2023-03-15", extra)
    assert due(ask, "A4") == [("co-monthly", "2023-03-31")]


@pytest.mark.parametrize("day, state", [("2022-02-01", "in time"), ("2022-02-02", "overdue")])
def test_grace_ends_with_its_last_day(judge, day, state):
    ask = judge(
        {"company.toml": HEAD + duty("co-grace", 12, 'grace_months = 1\nreplaces = ["imo-annual-service"]')},
        [("A1", "2021-01-01")],
        day,
    )
    assert ask("select state, due_on::varchar from figure.duty_now where unit_id = 'A1' and duty = 'annual_service'") == [
        (state, "2022-02-01")
    ]
    (said,) = ask("select loosens from duty.provision where rule_id = 'co-grace'")[0]
    assert "grace of 1 month instead of 0" in said


def test_a_rule_of_units_tested_before_binds_from_the_first_test_on(exports, run_on):
    text = HEAD + duty("co-retest", 60, "tested_before = true", "pressure_test", "made_on")
    folder = exports(
        {
            "vessel.csv": f"imo_number,vessel_name\n{VESSEL_A},Quiet Heron",
            "unit.csv": f"unit_id,imo_number,agent,made_on,in_service_on\nA1,{VESSEL_A},co2,2010-01-01,2010-02-01\nA2,{VESSEL_A},co2,2018-01-01,2018-02-01",
            "service.csv": f"unit_id,imo_number,serviced_on,kind,outcome\nA1,{VESSEL_A},2019-05-05,pressure_test,satisfactory",
            "rules/company.toml": text,
        }
    )
    con = run_on(folder)[1]
    found = con.execute(
        "select unit_id, rule_id, due_on::varchar from figure.duty_now where duty = 'pressure_test' order by unit_id"
    ).fetchall()
    assert found == [("A1", "co-retest", "2024-05-05"), ("A2", "imo-pressure-test", "2028-01-01")]
