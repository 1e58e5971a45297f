"""The same exports under the baseline, a flag layer and a company layer: three sets of figures, each difference explained."""

from __future__ import annotations

import shutil
from datetime import date
from pathlib import Path

import duckdb
import pytest

from pipeline.explain import explain_unit
from pipeline.rule_list import list_rules
from pipeline.run import RunOptions, run

SAMPLE = Path(__file__).parents[2] / "sample_exports"
AS_OF = date(2026, 10, 31)
SETS = {"baseline": (), "flag": ("flag_xa.toml",), "company": ("flag_xa.toml", "company.toml")}


@pytest.fixture(scope="module")
def built(tmp_path_factory) -> dict[str, Path]:
    """The two vessels of the canonical folder (both under flag XA) and one service provider, judged three times."""
    home = tmp_path_factory.mktemp("layers")
    exports = home / "exports"
    for name in ("canonical", "dunvarra", "dialects"):
        shutil.copytree(SAMPLE / name, exports / name)
    (exports / "rules").mkdir()
    for name, layers in SETS.items():
        for layer in layers:
            shutil.copyfile(SAMPLE / "layers" / layer, exports / "rules" / layer)
        run(RunOptions((exports,), home / "store", home / f"{name}.duckdb", AS_OF))
    return {name: home / f"{name}.duckdb" for name in SETS}


def read(db: Path, sql: str) -> list[tuple]:
    with duckdb.connect(str(db), read_only=True) as con:
        return con.execute(sql).fetchall()


def test_each_set_names_its_own_rules_beside_every_overdue_item(built):
    sql = "select distinct layer from figure.overdue_now join duty.provision using (rule_id) order by layer"
    assert [row[0] for row in read(built["baseline"], sql)] == ["baseline"]
    assert [row[0] for row in read(built["flag"], sql)] == ["baseline", "flag"]
    assert [row[0] for row in read(built["company"], sql)] == ["baseline", "company", "flag"]


def test_the_flag_asks_a_discharge_of_every_unit_and_not_of_one_a_group(built):
    sql = "select units from figure.overdue_monthly where month_end = '2026-10-31' and imo_number = '*' and duty = 'sample_discharge'"
    portable = read(
        built["flag"], "select count(distinct unit_id) from figure.unit_now where counted = 'in service' and form = 'portable'"
    )
    assert read(built["flag"], sql) == portable
    groups = "select count(*) from figure.duty_now where duty = 'sample_discharge' and is_group"
    assert read(built["baseline"], sql) == read(built["baseline"], groups) and read(built["flag"], groups) == [(0,)]


def test_a_rule_in_force_from_a_day_on_leaves_the_months_before_it_as_they_were(built):
    sql = (
        "select month_end, imo_number, overdue_unit_days from figure.overdue_monthly where duty = 'pressure_test' and "
        "month_end {} '2025-01-01' order by all"
    )
    assert read(built["flag"], sql.format("<")) == read(built["baseline"], sql.format("<"))
    after = sum(row[2] for row in read(built["flag"], sql.format(">=")))
    assert after > sum(row[2] for row in read(built["baseline"], sql.format(">=")))


def test_what_asks_less_is_said(built):
    sql = "select rule_id, loosens from duty.provision where loosens is not null and layer <> 'standard' order by rule_id"
    said = dict(read(built["company"], sql))
    assert said["xa-wheeled-check"] == "imo-onboard-check: interval of 3 months instead of 1"
    assert said["co-no-cartridge-test"] == "takes away imo-cartridge-test"
    assert "xa-co2-pressure-test" not in said and "co-half-yearly-powder" not in said
    printed = list_rules(built["company"], "0001016")
    at = next(n for n, line in enumerate(printed) if line.startswith("  xa-wheeled-check"))
    assert "ASKS LESS than the rule it replaces: imo-onboard-check: interval of 3 months instead of 1" in " ".join(
        printed[at : at + 3]
    )
    assert not any("ASKS LESS" in line for line in list_rules(built["baseline"], "0001016"))


def test_the_company_condemns_by_age_where_the_baseline_sets_none(built):
    count = "select count(*) from figure.condemn_now where rule_id = 'co-age'"
    old = "select count(distinct unit_id) from figure.unit_now where made_on < '2011-10-31'"
    assert read(built["company"], count) == read(built["company"], old) != [(0,)]
    assert read(built["baseline"], "select count(*) from figure.condemn_now where measure = 'unit_age_months'") == [(0,)]


def test_explain_names_the_rule_in_force_before_and_after(built):
    (unit,) = read(
        built["flag"],
        "select min(unit_id) from duty.span join record.unit using (unit_id, imo_number) where agent = 'co2' and rule_id = 'xa-co2-pressure-test' "
        "and removed_on is null and in_service_on < '2024-01-01'",
    )[0]
    said = "\n".join(explain_unit(built["flag"], unit))
    assert "rule imo-pressure-test, until 2025-01-01" in said
    assert (
        "every 60 months; invented, 2 [C] (rule xa-co2-pressure-test, in force from 2025-01-01; Invented flag notice, flag mandatory)"
        in said
    )
