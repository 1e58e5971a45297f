"""Hard reasons on worked cases that a superintendent can read; light rust is never one."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.conftest import VESSEL_A
from tests.spec.read_verdicts import Case, judge_cases, read_cases, rules_of

CASES_FILE = Path(__file__).with_name("condemn_cases.md")
CASES = read_cases(CASES_FILE.read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def judged(tmp_path_factory):
    with judge_cases(CASES, tmp_path_factory.mktemp("condemn")) as con:
        yield con


@pytest.mark.parametrize("case", CASES, ids=[case.title for case in CASES])
def test_reasons_are_those_of_the_case_and_no_other(judged, case: Case):
    assert case.read_verdicts(judged) == case.sorted_verdicts


def test_each_rule_of_the_file_has_a_case():
    named = {verdict[2] for case in CASES for verdict in case.verdicts}
    assert rules_of("baseline/condemn.toml") - named == set()


def test_a_reason_says_which_part_or_service_it_is_about(judged):
    said = dict(judged.execute("select rule_id, min(reason) from figure.condemn_now group by rule_id").fetchall())
    assert said["trade-failed-pressure-test"] == "pressure test failed"
    assert said["trade-lining-failed"] == "lining failed"  # the finding's own words would say it again
    assert said["trade-welded-repair"] == "repaired by welding, soldering or brazing: head, damaged"
    assert said["trade-wall-below-least"] == "wall below the maker's least: 1.1 mm, limit 1.2"


def test_no_hard_reason_depends_on_a_model(judged):
    """Each is a rule with a source and a record behind it."""
    bare = """select count(*) from figure.condemn_now as reason left join duty.provision using (rule_id)
        where provision.source is null or provision.clause is null or reason.line_no is null"""
    assert judged.execute(bare).fetchone() == (0,)


COMPANY = """
    regime = "Company"
    layer = "company"
    breach_label = "company rule"
    about = "Invented."
    [[limit]]
    rule_id = "own-powder-age"
    title = "powder unit past its age"
    verdict = "condemn"
    agents = ["powder"]
    measure = "unit_age_months"
    breach = "above"
    limit_value = 240
    unit = "months"
    source = "company manual"
    clause = "1"
    certainty = "C"
    about = "Twenty years."
    [[limit]]
    rule_id = "own-powder-charge"
    title = "powder charge lost"
    verdict = "unfit"
    agents = ["powder"]
    replaces = ["trade-powder-charge"]
    measure = "charge_lost_pct"
    breach = "above"
    limit_value = 2
    unit = "pct"
    source = "maker's manual"
    clause = "1"
    certainty = "C"
    about = "The maker's tolerance."
    """


def test_a_company_sets_an_age_limit_and_its_makers_tolerance(exports, run_on):
    """Twenty years to the day passes. The maker's 2 % goes before 5 %, and asks nothing of what is too heavy."""
    texts = {
        "rules/company.toml": COMPANY,
        "vessel.csv": f"imo_number\n{VESSEL_A}",
        "unit.csv": f"""unit_id,imo_number,agent,form,charge_kg,full_mass_kg,made_on,in_service_on
            U1,{VESSEL_A},powder,portable,6,9.5,2006-05-10,2020-01-01
            U2,{VESSEL_A},powder,portable,6,9.5,2006-05-09,2020-01-01
            U3,{VESSEL_A},co2,portable,5,14.9,1990-01-01,2020-01-01
            U4,{VESSEL_A},powder,portable,6,,2001-02-09,2020-01-01""",
        "service.csv": f"""unit_id,imo_number,serviced_on,kind,outcome,mass_kg
            U1,{VESSEL_A},2026-03-01,annual_service,satisfactory,9.37
            U2,{VESSEL_A},2026-03-01,annual_service,satisfactory,9.9""",
    }
    _, con = run_on(exports(texts))
    found = con.execute(
        "select unit_id, verdict, rule_id, round(value, 2), limit_value from figure.verdict order by all"
    ).fetchall()
    assert found == [
        ("U1", "unfit", "own-powder-charge", 2.17, 2),
        ("U2", "condemn", "own-powder-age", 240.03, 240),
        ("U4", "condemn", "own-powder-age", 303.03, 240),
    ]
    said = dict(con.execute("select unit_id, reason from figure.verdict").fetchall())
    assert said["U1"] == "powder charge lost: 2.2 %, limit 2"
    assert said["U2"] == "powder unit past its age: 240.031 months, limit 240"  # in whole months it would seem to pass
    assert said["U4"] == "powder unit past its age: 303 months, limit 240"
