"""Placement, numbers, stations and stated dates on worked cases that a superintendent can read: placement_cases.md.

In: one section a case: tables named by the head of their first column. Out: one fleet, run once; every figure row of a case's
vessels must be the one that its tables state.
"""

from __future__ import annotations

import csv
import io
import re
import tomllib
from importlib.resources import files
from pathlib import Path

import duckdb
import pytest

from pipeline.run import RunOptions, run
from tests.conftest import AS_OF, VESSEL_A, write_folder
from tests.property.canonical import NEEDED, complete_imo_number

NEEDED_COLUMNS = {**NEEDED, "station": ("imo_number", "position_no")}
NAMED = {"vessel": None, "station": "position_no", "spare": None}  # which column the first cell fills; else unit_id
DEFAULTS = {"form": "portable", "made_on": "2020-01-01", "in_service_on": "2020-01-01"}
RESULTS = {
    "broken": """select unit_id, breach, rule_id, reason from figure.placement_now where imo_number = $vessel""",
    "stands": """select position_no, unit_id, state, case when is_covered then 'yes' else 'no' end, units, reason
        from figure.station_now where imo_number = $vessel""",
    "number": """select 'vessel', rule_id, required, required_at_most, held, usable, short_by, state, reason
        from figure.number_now where imo_number = $vessel and list_contains($wanted, rule_id)""",
    "mix": """select 'vessel', agent, units, spare_charges_held, spare_charges_required, unsuitable_placements, refill_unknown_units
        from figure.agent_mix where imo_number = $vessel""",
    "differs": """select unit_id, duty, done_on, stated_on, computed_on, difference_days, rule_id
        from figure.stated_vs_computed where imo_number = $vessel""",
}
ALWAYS = ("broken", "stands", "differs")
FIRST_IMO_PREFIX = 997001  # invented, apart from those of the other tests
MARINE = "imo_number,vessel_name,gross_tonnage"


class Case:
    """One section: records by table (first cell and the others by head), stated result rows by table."""

    def __init__(self, number: int, section: str):
        self.number = number
        self.title, *lines = section.splitlines()
        self.tables = _read_tables(lines)
        letters = {row["vessel"] for rows in self.tables.values() for row in rows if row.get("vessel")}
        self.letters = sorted(letters | {"A"})

    def vessel(self, letter: str) -> str:
        return complete_imo_number(FIRST_IMO_PREFIX + 20 * self.number + ord(letter) - ord("A"))

    def records(self, table: str) -> list[dict[str, str]]:
        """Canonical rows of one table of the contract."""
        rows = self.tables.get(table, [])
        if table == "vessel":
            told = {row["vessel"]: row for row in rows}
            return [{**told.get(letter, {}), "imo_number": self.vessel(letter)} for letter in self.letters]
        return [record for row in rows for record in self._expand(table, row)]

    def stated(self, result: str) -> list[tuple[str, ...]]:
        rows = [tuple(row.values()) for row in self.tables.get(result, [])]
        if result in ("number", "mix"):
            return sorted((self.vessel(row[0]), *row[1:]) for row in rows)
        return sorted(self._with_unit(result, row) for row in rows)

    def read(self, con, result: str) -> list[tuple[str, ...]]:
        wanted = sorted({row["rule"] for row in self.tables.get(result, [])}) if result == "number" else None
        found = []
        for vessel in map(self.vessel, self.letters):
            parameters = {"vessel": vessel} | ({"wanted": wanted} if wanted else {})
            for row in con.execute(RESULTS[result], parameters).fetchall():
                cells = tuple("" if cell is None else str(cell) for cell in row)
                found.append((vessel, *cells[1:]) if result in ("number", "mix") else cells)
        return sorted(found)

    def _expand(self, table: str, row: dict[str, str]) -> list[dict[str, str]]:
        first = row[table]
        letter = row.get("vessel") or (first if table == "spare" else "A")
        rest = {key: cell for key, cell in row.items() if key not in (table, "vessel") and cell != ""}
        rest["imo_number"] = self.vessel(letter)
        if table in NAMED:
            return [{**rest, NAMED[table]: first} if NAMED[table] else rest]
        if table == "unit":
            rest = {key: cell for key, cell in DEFAULTS.items() if row.get(key) != ""} | rest
        return [{**rest, "unit_id": self._unit(name)} for name in _spread(first)]

    def _unit(self, name: str) -> str:
        return f"T{self.number:02d}-{name}"

    def _with_unit(self, result: str, row: tuple[str, ...]) -> tuple[str, ...]:
        place = 1 if result == "stands" else 0
        return tuple(self._unit(cell) if index == place and cell else cell for index, cell in enumerate(row))


def _spread(name: str) -> list[str]:
    """A1-A12 -> twelve names."""
    span = re.fullmatch(r"([A-Z])(\d+)-\1(\d+)", name)
    return [f"{span[1]}{n}" for n in range(int(span[2]), int(span[3]) + 1)] if span else [name]


def _read_tables(lines: list[str]) -> dict[str, list[dict[str, str]]]:
    tables: dict[str, list[dict[str, str]]] = {}
    heads: list[str] = []
    for line in lines:
        if not line.startswith("|"):
            heads = []
            continue
        cells = [cell.strip() for cell in line.removeprefix("|").removesuffix("|").split("|")]
        if not heads:
            heads = cells
            assert heads[0] in NEEDED_COLUMNS or heads[0] in RESULTS, line
        elif not line.startswith("|---"):
            tables.setdefault(heads[0], []).append(dict(zip(heads, cells, strict=True)))
    return tables


def to_csv(table: str, rows: list[dict[str, str]]) -> str:
    stream = io.StringIO()
    columns = list(dict.fromkeys([*NEEDED_COLUMNS[table], *(key for row in rows for key in row if key != "vessel")]))
    writer = csv.DictWriter(stream, columns, restval="", lineterminator="\n", extrasaction="ignore")
    writer.writeheader()
    writer.writerows(rows)
    return stream.getvalue()


TEXT = Path(__file__).with_name("placement_cases.md").read_text(encoding="utf-8")
CASES = [Case(number, section) for number, section in enumerate(TEXT.split("\n## ")[1:])]


@pytest.fixture(scope="module")
def judged(tmp_path_factory):
    folder = tmp_path_factory.mktemp("placement")
    records = {table: [row for case in CASES for row in case.records(table)] for table in NEEDED_COLUMNS}
    write_folder(folder / "exports", {f"{table}.csv": to_csv(table, rows) for table, rows in records.items()})
    summary = run(RunOptions((folder / "exports",), folder / "store", folder / "db.duckdb", AS_OF))
    with duckdb.connect(str(folder / "db.duckdb"), read_only=True) as con:
        for table, rows in records.items():
            assert con.execute(f"select count(*) from record.{table}").fetchone() == (len(rows),), (table, summary)
        yield con


@pytest.mark.parametrize(
    ("case", "result"),
    [
        pytest.param(case, result, id=f"{case.title}-{result}")
        for case in CASES
        for result in RESULTS
        if result in ALWAYS or result in case.tables
    ],
)
def test_rows_are_those_of_the_case_and_no_other(judged, case: Case, result: str):
    assert case.read(judged, result) == case.stated(result)


def test_each_rule_of_the_file_has_a_case():
    content = tomllib.loads(files("pipeline.duties").joinpath("baseline/placement.toml").read_text(encoding="utf-8"))
    rules = {rule["rule_id"] for kind in ("placement", "limit", "number") for rule in content[kind]}
    named = {row["rule"] for case in CASES for name in ("broken", "number") for row in case.tables.get(name, [])}
    assert rules == named


def test_every_broken_rule_and_station_leads_to_a_record_that_exists(judged):
    known = """(select 'unit' as table_name, file_id, record_no, line_no, unit_id as name from record.unit
        union all select 'station', file_id, record_no, line_no, position_no from record.station
        union all select 'service', file_id, record_no, line_no, unit_id from record.service
        union all select 'inspection', file_id, record_no, line_no, unit_id from record.inspection)"""
    shown = f"""with shown as (
            select table_name, file_id, record_no, line_no, unit_id as name from figure.placement_now
            union all select table_name, file_id, record_no, line_no, unit_id from figure.stated_vs_computed
            union all select 'unit', unit_file_id, unit_record_no, unit_line_no, unit_id from figure.station_now where unit_id is not null
            union all select 'station', file_id, record_no, line_no, position_no from figure.station_now where file_id is not null)
        select count(*), count(known.name) from shown left join {known} as known using (table_name, file_id, record_no, line_no, name)"""
    rows, found = judged.execute(shown).fetchone()
    assert rows == found > 0


def test_each_number_carries_the_source_of_its_rule(judged):
    found = judged.execute(
        "select distinct rule_id, source, clause[:8], certainty, breach_label from figure.number_now order by all"
    ).fetchall()
    assert found == [
        ("solas-least-five", "SOLAS II-2/10", "10.3.2.1", "P2", "baseline guidance"),
        ("solas-spare-charges", "SOLAS II-2/10", "10.3.3.1", "P2", "baseline guidance"),
        ("solas-spare-units", "SOLAS II-2/10", "10.3.3.2", "P2", "baseline guidance"),
    ]


def test_the_reading_by_agent_never_asks_less_than_the_pool(judged):
    rows = judged.execute("""select required, by_agent from figure.number_now join (
        select imo_number, sum(spare_charges_required) as by_agent from figure.agent_mix group by imo_number) using (imo_number)
        where rule_id = 'solas-spare-charges' and required > 0""").fetchall()
    assert len(rows) > 5
    assert all(by_agent >= required for required, by_agent in rows)
    assert any(by_agent > required for required, by_agent in rows)


# A flag that asks half of each size and variety (46 CFR 34.50-15; UK SI 1998/1011, regulation 35(4), half of each type), half a one
# rounded up (46 CFR 167.45-70(a): 1 -> 1, 2 -> 1, 3 -> 2, 4 -> 2, 5 -> 3), in the place of the pool.
HALF_OF_EACH = """
regime = "half of each size"
layer = "company"
breach_label = "company rule"
about = "for this test"

[[number]]
rule_id = "half-of-each"
title = "spare charges for half of each size and variety"
measure = "spare_charges"
first = 0
share = 0.5
by = "agent_and_size"
forms = ["portable"]
replaces = ["solas-spare-charges"]
source = "invented"
clause = "1"
certainty = "C"
about = "for this test"
"""


@pytest.mark.parametrize(("units", "required"), [(1, 1), (2, 1), (3, 2), (4, 2), (5, 3), (25, 13)])
def test_a_layer_can_ask_half_of_each_size(exports, run_on, units: int, required: int):
    sized = [f"K{n},{VESSEL_A},powder,portable,6,true,2020-01-01" for n in range(units)]
    larger = [f"L{n},{VESSEL_A},powder,portable,12,true,2020-01-01" for n in range(2)]
    _, con = run_on(exports({
        "vessel.csv": f"{MARINE}\n{VESSEL_A},Quiet Heron,500",
        "unit.csv": "\n".join(["unit_id,imo_number,agent,form,charge_kg,refillable_on_board,made_on", *sized, *larger]),
        "spare.csv": f"imo_number,counted_on,agent,charge_kg,spare_charges\n{VESSEL_A},2026-01-01,powder,6,{required - 1}",
        "rules/half.toml": HALF_OF_EACH,
    }))  # fmt: skip
    rows = con.execute("""select rule_id, agent, charge_kg, required, held, short_by, state from figure.number_now
        where measure = 'spare_charges' order by charge_kg""").fetchall()
    assert rows == [
        ("half-of-each", "powder", 6, required, required - 1, 1, "short"),
        ("half-of-each", "powder", 12, 1, 0, 1, "short"),
    ]
    assert con.execute("select spare_charges_required, spare_charges_held from figure.agent_mix").fetchall() == [
        (required + 1, required - 1)
    ]


def test_a_count_without_a_size_tells_nothing_of_a_size(exports, run_on):
    _, con = run_on(exports({
        "vessel.csv": f"{MARINE}\n{VESSEL_A},Quiet Heron,500",
        "unit.csv": f"""unit_id,imo_number,agent,form,charge_kg,refillable_on_board,made_on
            K1,{VESSEL_A},powder,portable,6,true,2020-01-01""",
        "spare.csv": f"imo_number,counted_on,agent,charge_kg,spare_charges\n{VESSEL_A},2026-01-01,powder,,9",
        "rules/half.toml": HALF_OF_EACH,
    }))  # fmt: skip
    rows = con.execute("select required, held, short_by, state, reason from figure.number_now where measure = 'spare_charges'")
    assert rows.fetchall() == [(1, None, None, "unknown", "no usable count of spare charges: powder")]


def test_without_a_plan_or_spares_the_figures_are_empty_or_unknown(exports, run_on, small_fleet):
    _, con = run_on(exports(small_fleet))
    assert con.execute("select count(*) from figure.station_now").fetchone() == (0,)
    assert con.execute("select count(*) from figure.stated_vs_computed").fetchone() == (0,)
    states = con.execute("select rule_id, state from figure.number_now order by rule_id").fetchall()
    assert states == [("solas-least-five", "unknown"), ("solas-spare-charges", "unknown"), ("solas-spare-units", "unknown")]


GRACE = """
regime = "a month of grace"
layer = "company"
breach_label = "company rule"
about = "for this test"

[[duty]]
rule_id = "grace-annual-service"
duty = "annual_service"
title = "annual service with a month of grace"
counts = "unit"
interval_months = 12
grace_months = 1
first_basis = "service_start"
satisfied_by = [{ record = "service", kind = "annual_service" }]
replaces = ["imo-annual-service"]
in_any = true
source = "invented"
clause = "1"
certainty = "C"
about = "for this test"
"""


@pytest.mark.parametrize(
    ("stated", "difference"),
    [("2026-06-10", None), ("2026-07-10", None), ("2026-06-11", -29), ("2026-07-11", 1)],
)
def test_with_grace_both_the_planned_and_the_last_day_agree(exports, run_on, small_fleet, stated: str, difference: int | None):
    small_fleet["service.csv"] = f"""unit_id,imo_number,serviced_on,kind,outcome,stated_next_due_on
        U1,{VESSEL_A},2025-06-10,annual_service,satisfactory,{stated}"""
    _, con = run_on(exports({**small_fleet, "rules/grace.toml": GRACE}))
    rows = con.execute("select rule_id, difference_days from figure.stated_vs_computed").fetchall()
    assert rows == ([] if difference is None else [("grace-annual-service", difference)])
