"""Every rule of the shipped rule book at work: rule_cases.md, one fleet, one run.

In: a line a rule with both sides of its boundary, and what the rule's own keys say. Out: the rule stops what it must and nothing else;
no rule is without a line, and no value differs from the line. Other rules may have their say about the same units: here only
the one on trial is asked.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from pathlib import Path

import duckdb
import pytest

from pipeline.duties.rule_book import read_rule_book
from pipeline.run import RunOptions, run
from tests.conftest import AS_OF, write_folder
from tests.property.canonical import NEEDED, complete_imo_number
from tests.spec.read_rule_cases import read_lines, render
from tests.spec.rule_trials import Trial, is_cold, make_trials

LINES = read_lines(Path(__file__).with_name("rule_cases.md").read_text(encoding="utf-8"))
RULES = {rule["rule_id"]: (regime, rule) for regime, rule in read_rule_book().rules}
TRIALS = {
    rule_id: list(make_trials(RULES[rule_id][1], [line for line in LINES if line.rule_id == rule_id]))
    for rule_id in dict.fromkeys(line.rule_id for line in LINES if line.rule_id in RULES)
}
FLAGS = {"uk-mgn-276": "GB", "gibraltar-sgn": "GI", "us-46-cfr": "US"}
FIRST_IMO_PREFIX = 994001  # invented, apart from those of the other tests
MADE = "2020-01-01"
# Rules that govern nobody while the ten years of the baseline are in force: tried where a company takes those away.
OUTLASTED = ("nfpa-test-powder", "nfpa-test-clean-agent")
SQL = {
    "limit": "select unit_id from figure.verdict where rule_id = $rule",
    "placement": "select unit_id from figure.placement_now where rule_id = $rule",
    "number": "select imo_number from figure.number_now where rule_id = $rule and state = 'short'",
    "duty": """select coalesce(member.unit_id, late.unit_id) from figure.overdue_now as late left join duty.sample_group as member
        on member.rule_id = late.rule_id and member.imo_number = late.imo_number and member.group_id = late.unit_id
        where late.rule_id = $rule""",
}
SQL |= {"ground": SQL["limit"], "drop": SQL["duty"]}


class Fleet:
    """The trials as canonical rows: a vessel for each set of rules, and one for each trial of a number."""

    def __init__(self):
        self.rows: dict[str, list[dict]] = {table: [] for table in NEEDED}
        self.vessels: dict[str, str] = {}
        self.layers: dict[str, str] = {}
        self.named: dict[tuple[str, str], str] = {}  # rule and label of a trial -> unit or vessel

    def add(self, trial: Trial, number: int):
        regime, rule = RULES[trial.rule_id]
        is_number = rule["kind"] == "number"
        place = f"{trial.rule_id} {number}" if is_number else "outlasted" if trial.rule_id in OUTLASTED else regime.slug
        told = {key: value for table, row in trial.records if table == "vessel" for key, value in row.items()}
        vessel = self._vessel(place + (" cold" if is_cold(trial, rule) else ""), regime, told, is_cold(trial, rule))
        units = 0
        for table, row in trial.records:
            if table == "unit":
                units += 1
                self._unit(vessel, f"{trial.rule_id}-{number}-{units}", row)
            elif table != "vessel":
                self.rows[table].append({"imo_number": vessel, "unit_id": f"{trial.rule_id}-{number}-1", **row})
        self.named[trial.rule_id, trial.label] = vessel if is_number else f"{trial.rule_id}-{number}-1"

    def _unit(self, vessel: str, unit_id: str, row: dict):
        begins = row.get("made_on", MADE)  # a group of its own, by its model
        standard = {"form": "portable", "made_on": MADE, "in_service_on": begins, "model": unit_id}
        self.rows["unit"].append({"unit_id": unit_id, "imo_number": vessel, **standard, **row})

    def _vessel(self, place: str, regime, told: dict, is_frosty: bool) -> str:
        if place not in self.vessels:
            vessel = complete_imo_number(FIRST_IMO_PREFIX + len(self.vessels))
            self.vessels[place] = vessel
            air = {"lowest_air_temp_c": "-0.1" if is_frosty else "0"}
            self.rows["vessel"].append({"imo_number": vessel, "flag": FLAGS.get(regime.slug, "XA"), **air, **told})
            if regime.layer == "standard":
                self.layers[f"rules/own-{len(self.vessels)}.toml"] = adopt(vessel, regime.slug, place == "outlasted")
        return self.vessels[place]

    def texts(self) -> dict[str, str]:
        return {**{f"{table}.csv": to_csv(table, rows) for table, rows in self.rows.items()}, **self.layers}


def adopt(vessel: str, standard: str, drops_ten_years: bool) -> str:
    head = f'regime = "Adopts {standard} {vessel}"\nlayer = "company"\nbreach_label = "company rule"\nabout = "x"\n'
    own = f'vessels = ["{vessel}"]\nadopts = ["{standard}"]\n'
    drop = '[[drop]]\nrule_id = "own-drop"\ntitle = "x"\ndrops = ["imo-pressure-test"]\nsource = "x"\nclause = "x"\ncertainty = "C"\nabout = "x"\n'
    return head + own + (drop if drops_ten_years else "")


def to_csv(table: str, rows: list[dict]) -> str:
    stream = io.StringIO()
    columns = list(dict.fromkeys([*NEEDED[table], *(key for row in rows for key in row if table != "spare" or key != "unit_id")]))
    writer = csv.DictWriter(stream, columns, restval="", lineterminator="\n", extrasaction="ignore")
    writer.writeheader()
    writer.writerows(rows)
    return stream.getvalue()


@pytest.fixture(scope="module")
def tried(tmp_path_factory) -> Iterator[tuple[Fleet, duckdb.DuckDBPyConnection]]:
    fleet = Fleet()
    for trials in TRIALS.values():
        for number, trial in enumerate(trials):
            fleet.add(trial, number)
    home = tmp_path_factory.mktemp("rules")
    write_folder(home / "exports", fleet.texts())
    summary = run(RunOptions((home / "exports",), home / "store", home / "db.duckdb", AS_OF))
    with duckdb.connect(str(home / "db.duckdb"), read_only=True) as con:
        for table, rows in fleet.rows.items():
            assert con.execute(f"select count(*) from record.{table}").fetchone() == (len(rows),), (table, summary)
        yield fleet, con


def test_every_rule_has_a_line_and_every_line_a_rule():
    assert sorted({line.rule_id for line in LINES} ^ set(RULES)) == []


@pytest.mark.parametrize("line", LINES, ids=[f"{number}-{line.rule_id}" for number, line in enumerate(LINES)])
def test_a_line_says_all_that_its_rule_asks(line):
    assert render(RULES[line.rule_id][1]) == line.says
    assert line.source


@pytest.mark.parametrize("rule_id", TRIALS)
def test_a_rule_stops_what_it_must_and_nothing_else(tried, rule_id: str):
    fleet, con = tried
    rule = RULES[rule_id][1]
    asked = rule["drops"][0] if rule["kind"] == "drop" else rule_id
    stopped = {row[0] for row in con.execute(SQL[rule["kind"]], {"rule": asked}).fetchall()}
    wrong = [
        ("passed" if trial.is_stopped else "stopped", trial.label, trial.records)
        for trial in TRIALS[rule_id]
        if (fleet.named[rule_id, trial.label] in stopped) != trial.is_stopped
    ]
    assert wrong == []
    assert {trial.is_stopped for trial in TRIALS[rule_id]} == {True, False}
