"""Fitness on worked cases that a superintendent can read: boundaries on both sides, and what cures what."""

from __future__ import annotations

from datetime import date
from importlib.resources import files
from pathlib import Path

import pytest

from tests.spec.read_verdicts import Case, judge_cases, read_cases, rules_of

CASES_FILE = Path(__file__).with_name("fitness_cases.md")
CASES = read_cases(CASES_FILE.read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def judged(tmp_path_factory):
    with judge_cases(CASES, tmp_path_factory.mktemp("fitness")) as con:
        yield con


@pytest.mark.parametrize("case", CASES, ids=[case.title for case in CASES])
def test_reasons_are_those_of_the_case_and_no_other(judged, case: Case):
    assert case.read_verdicts(judged) == case.sorted_verdicts


def test_each_rule_of_the_file_has_a_case():
    named = {verdict[2] for case in CASES for verdict in case.verdicts}
    assert rules_of("baseline/fitness.toml") - named == set()


def test_a_reason_names_value_limit_rule_and_the_line_it_stands_on(judged):
    unit_id = next(row["unit_id"] for row in CASES[0].rows["unit"] if row["unit_id"].endswith("B"))
    row = judged.execute("select * exclude (imo_number, file_id, record_no) from figure.unfit_now where unit_id = ?", [unit_id])
    names = [column[0] for column in row.description]
    reason = dict(zip(names, row.fetchone(), strict=True))
    mass_line = [record["unit_id"] for case in CASES for record in case.rows["service"]].index(unit_id) + 2
    assert reason == {
        "unit_id": unit_id, "reason": "CO2 charge lost: 10.2 %, limit 10", "rule_id": "trade-co2-charge-lost",
        "measure": "charge_lost_pct", "value": 10.2, "limit_value": 10, "unit": "pct", "seen_on": date(2026, 3, 1),
        "table_name": "service", "line_no": mass_line,
    }  # fmt: skip


def test_every_reason_leads_to_a_record_that_exists(judged):
    lost = """select count(*) from figure.verdict as verdict where not exists (
        select 1 from (select 'unit' as table_name, file_id, record_no, line_no from record.unit
            union all select 'service', file_id, record_no, line_no from record.service
            union all select 'inspection', file_id, record_no, line_no from record.inspection
            union all select 'finding', file_id, record_no, line_no from record.finding) as known
        where known.table_name = verdict.table_name and known.file_id = verdict.file_id
            and known.record_no = verdict.record_no and known.line_no = verdict.line_no)"""
    assert judged.execute(lost).fetchone() == (0,)


def test_unfit_now_and_condemn_now_are_the_verdicts_of_those_names(judged):
    for name, verdict in (("unfit_now", "unfit"), ("condemn_now", "condemn")):
        split = judged.execute(f"select * from figure.{name} order by all").fetchall()
        assert (
            split
            == judged.execute(
                f"select * exclude (verdict) from figure.verdict where verdict = '{verdict}' order by all"
            ).fetchall()
        )
        assert split


def test_a_charge_taken_from_the_masses_is_said_beside_the_verdict(judged):
    said = "select reason from figure.verdict where rule_id = 'trade-co2-charge-lost' and unit_id = ?"
    number = next(n for n, case in enumerate(CASES) if case.title.startswith("Without a charge on record"))
    assert judged.execute(said, [f"S{number:02d}-B"]).fetchall() == [
        ("CO2 charge lost: 10.02 %, limit 10 (no charge on record: full less empty mass, 5 kg, taken)",)
    ]
    assert judged.execute(said, [f"S{number:02d}-E"]).fetchall() == [("CO2 charge lost: 50 %, limit 10",)]
    explained = files("pipeline").joinpath("explain_verdicts.sql").read_text(encoding="utf-8")
    rows = judged.execute(explained, {"unit_id": f"S{number:02d}-B"}).fetchall()
    assert any("full less empty mass, 5 kg" in row[1] for row in rows)
