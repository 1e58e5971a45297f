"""What changed between two moments: each cell that differs is named, with the file and the reason, and nothing else is."""

from __future__ import annotations

import csv
import re
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path

import duckdb
import pytest

from pipeline import contract
from pipeline.cli import main
from pipeline.errors import UserError
from pipeline.evidence.changes import HEADER, Asked, compare, compared, sort_moments
from pipeline.figures import build as build_of_figures
from pipeline.intake.received import read_moment
from pipeline.intake.store import Store
from pipeline.run import RunOptions, run
from pipeline.withdraw import take_back_withdrawal, withdraw_file
from tests.conftest import AS_OF, VESSEL_A, VESSEL_B, write_folder

EARLIER, LATER = read_moment("2026-05-12"), read_moment("2026-05-31")
HEAD = "unit_id,imo_number,inspected_on,outcome"
CORRECTED = "file,record,column,from,to,why,who,on\ninspection.csv,2,outcome,fine,satisfactory,a slip,superintendent,2026-05-20"


# No other figure is compared, and each comparison is two runs.
NEEDED = (*build_of_figures.FIGURES[: build_of_figures.FIGURES.index("agent_mix") + 1], "freshness")


@pytest.fixture(autouse=True)
def few_figures(monkeypatch):
    monkeypatch.setattr(build_of_figures, "FIGURES", NEEDED)


@pytest.fixture(scope="module")
def plain_store(tmp_path_factory) -> Path:
    """A folder with a store of one unit, for calls that only read it."""
    place = tmp_path_factory.mktemp("plain")
    unit = f"unit_id,imo_number,agent,form,made_on,in_service_on\nU1,{VESSEL_A},powder,portable,2015-01-31,2016-01-31"
    fleet = {"vessel.csv": f"imo_number,vessel_name\n{VESSEL_A},Quiet Heron", "unit.csv": unit}
    run(RunOptions((write_folder(place / "exports", stamp(fleet)),), place / "store", place / "db", AS_OF))
    return place


@pytest.fixture
def fleet(small_fleet) -> dict[str, str]:
    """The small fleet, serviced: on the day nothing but U2's onboard check is overdue."""
    rows = [f"{unit},{VESSEL_A},{day},{kind},satisfactory" for unit in ("U1", "U2") for day, kind in SERVICES]
    return {**small_fleet, "service.csv": "\n".join(["unit_id,imo_number,serviced_on,kind,outcome", *rows])}


SERVICES = (("2026-01-15", "annual_service"), ("2025-02-15", "pressure_test"), ("2025-03-15", "discharge_test"))


def stamp(fleet: dict[str, str], **later: str) -> dict[str, str]:
    """The files with received.csv: all came on 1 May but for those named, with _ for the / and . of their paths."""
    came = {name: later.get(re.sub(r"[/.]", "_", name), "2026-05-01") for name in fleet}
    return {**fleet, "received.csv": "path,received_at\n" + "\n".join(f"{name},{day}" for name, day in came.items())}


@pytest.fixture
def differ(tmp_path):
    """Call with two moments to get the rows of change.cell as dicts, and the rows of any other table of its schema."""

    done: dict[tuple, dict[str, list[dict]]] = {}

    def call(earlier: datetime = EARLIER, later: datetime | None = LATER, vessel: str | None = None, table: str = "cell"):
        asked = Asked(tmp_path / "store", (earlier, later), AS_OF, vessel)
        key = (asked, (asked.store / "received.json").read_bytes())
        if key not in done:
            with compared(asked) as (changes, _), duckdb.connect(str(changes), read_only=True) as con:
                done[key] = {name: read_rows(con, name) for name in ("cell", "file", "withdrawal", "correction")}
        return done[key][table]

    return call


def read_rows(con: duckdb.DuckDBPyConnection, table: str) -> list[dict]:
    cursor = con.execute(f"select * from change.{table}")
    names = [column[0] for column in cursor.description]
    return [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]


def pick(cells: list[dict], table: str, column: str, **key: object) -> dict:
    """The one cell of that table, column and key."""
    wanted = {"table_name": table, "column_name": column, **key}
    found = [cell for cell in cells if all(cell[name] == value for name, value in wanted.items())]
    assert len(found) == 1, (wanted, found)
    return found[0]


def overdue(cells: list[dict], imo_number: str = "*") -> dict:
    return pick(cells, "overdue_monthly", "overdue", imo_number=imo_number, duty="*", month_end=AS_OF)


def test_a_late_file_is_named_with_its_record(exports, run_on, differ, fleet):
    late = {**fleet, "late/inspection.csv": f"{HEAD}\nU2,{VESSEL_A},2026-04-28,satisfactory"}
    run_on(exports(stamp(late, late_inspection_csv="2026-05-20")))
    cells = differ()
    state = pick(cells, "duty_now", "state", unit_id="U2", duty="onboard_check")
    assert (state["then_value"], state["now_value"]) == ("overdue", "in time")
    assert state["why"] == (
        "inspection of U2, 2026-04-28 [exports/late/inspection.csv, line 2, record 1]: received 2026-05-20 (late file)"
    )
    assert (state["then_path"], state["then_record_no"]) == ("exports/inspection.csv", 2)
    assert (state["now_path"], state["now_record_no"]) == ("exports/late/inspection.csv", 1)
    looked = pick(cells, "unit_now", "last_inspected_on", unit_id="U2")
    assert (looked["now_path"], looked["now_record_no"]) == ("exports/late/inspection.csv", 1)  # the look, not the register's row
    count = overdue(cells)
    assert (count["then_value"], count["now_value"]) == ("1", "0")
    assert count["why"] == "1 unit no longer counted: U2; received 2026-05-20 (late file) (1 unit)"
    record = pick(cells, "inspection", "(record)")
    assert (record["then_value"], record["now_value"], record["why"]) == (
        None,
        "U2, 2026-04-28",
        "received 2026-05-20 (late file)",
    )
    assert [(file["path"], file["rows_loaded"]) for file in differ(table="file")] == [("exports/late/inspection.csv", 1)]


def test_a_record_of_a_day_after_the_earlier_moment_is_not_late(exports, run_on, differ, fleet):
    late = {**fleet, "late/inspection.csv": f"{HEAD}\nU2,{VESSEL_A},2026-05-09,satisfactory"}
    run_on(exports(stamp(late, late_inspection_csv="2026-05-20")))
    cells = differ(earlier=read_moment("2026-05-08"))
    assert pick(cells, "inspection", "(record)")["why"] == "received 2026-05-20"


def test_a_corrected_cell_says_who_and_why(exports, run_on, differ, fleet):
    spoilt = {**fleet, "inspection.csv": f"{HEAD}\nU1,{VESSEL_A},2026-04-30,satisfactory\nU2,{VESSEL_A},2026-04-28,fine"}
    run_on(exports(stamp({**spoilt, "corrections.csv": CORRECTED}, corrections_csv="2026-05-21")))
    cells = differ()
    said = "corrected: a slip (superintendent, 2026-05-20)"
    assert pick(cells, "duty_now", "basis_on", unit_id="U2", duty="onboard_check")["why"].endswith(f": {said}")
    assert overdue(cells)["why"] == f"1 unit no longer counted: U2; {said} (1 unit)"
    gone = pick(cells, "inspection", "outcome", item="exports/inspection.csv, record 2")
    assert (gone["then_value"], gone["now_value"]) == ("set aside: unknown-word", None)
    declared = differ(table="correction")
    assert [(row["what"], row["from_value"], row["to_value"]) for row in declared] == [("declared", "fine", "satisfactory")]


def test_a_withdrawn_file_says_why_and_back_again(exports, run_on, differ, fleet, tmp_path):
    late = {**fleet, "late/inspection.csv": f"{HEAD}\nU2,{VESSEL_A},2026-04-28,satisfactory"}
    run_on(exports(stamp(late)))
    withdraw_file(tmp_path / "store", "exports/late/inspection.csv", "of another vessel")
    cells = differ(later=None)
    assert pick(cells, "duty_now", "state", unit_id="U2", duty="onboard_check")["now_value"] == "overdue"
    assert overdue(cells)["why"] == "1 unit newly counted: U2; withdrawn: of another vessel (1 unit)"
    gone = pick(cells, "inspection", "(record)")
    assert (gone["then_value"], gone["now_value"], gone["why"]) == ("U2, 2026-04-28", None, "withdrawn: of another vessel")
    assert [(row["what"], row["why"]) for row in differ(later=None, table="withdrawal")] == [("withdrawn", "of another vessel")]
    take_back_withdrawal(tmp_path / "store", "exports/late/inspection.csv")
    assert differ(later=None) == []
    assert [row["what"] for row in differ(later=None, table="withdrawal")] == ["withdrawn", "taken back"]


def test_a_later_version_of_a_file_replaces_its_rows(exports, run_on, differ, fleet):
    run_on(exports(stamp(fleet)))
    again = fleet["inspection.csv"].replace(f"U1,{VESSEL_A},2026-04-30,satisfactory", f"U1,{VESSEL_A},2026-04-30,not_found")
    run_on(exports(stamp({**fleet, "inspection.csv": again}, inspection_csv="2026-05-22")))
    cells = differ()
    cell = pick(cells, "inspection", "outcome")
    assert (cell["then_value"], cell["now_value"]) == ("satisfactory", "not_found")
    assert cell["why"] == "replaced by a later version of the file, received 2026-05-22"
    assert cell["then_path"] == cell["now_path"] == "exports/inspection.csv" and cell["now_line_no"] == 4
    count = overdue(cells)
    assert (count["then_value"], count["now_value"]) == ("1", "2")
    assert count["why"].startswith("1 unit newly counted: U1; replaced by a later version of the file, received 2026-05-22")


def test_a_changed_register_takes_a_unit_out_of_the_count(exports, run_on, differ, fleet):
    row = f"U2,{VESSEL_A},co2,portable,5,2018-06-01,2020-02-01,2026-05-02"
    later = {**fleet, "later/unit.csv": f"unit_id,imo_number,agent,form,charge_kg,made_on,in_service_on,removed_on\n{row}"}
    run_on(exports(stamp(later, later_unit_csv="2026-05-15")))
    cells = differ()
    counted = pick(cells, "unit_now", "counted", unit_id="U2")
    assert (counted["then_value"], counted["now_value"]) == ("in service", None)
    assert counted["why"].endswith("register changed, received 2026-05-15")
    assert pick(cells, "agent_mix", "units", item="co2")["why"].startswith("1 unit no longer counted: U2")
    assert overdue(cells)["why"] == "1 unit no longer counted: U2; register changed, received 2026-05-15 (1 unit)"
    assert pick(cells, "duty_now", "state", unit_id="U2", duty="onboard_check")["why"].endswith("received 2026-05-15")


def test_a_row_that_waited_for_the_register_is_traced_to_it(exports, run_on, differ, fleet):
    one, two = fleet["unit.csv"].strip().rsplit("\n", 1)
    parts = {**fleet, "unit.csv": one, "two/unit.csv": f"{one.splitlines()[0]}\n{two.strip()}"}
    run_on(exports(stamp(parts, two_unit_csv="2026-05-15")))
    why = pick(differ(), "inspection", "(record)", unit_id="U2")["why"]
    assert why.startswith("register changed: the row had been set aside (unit_id 'U2' is in no unit register")


def test_nothing_differs(exports, run_on, differ, fleet, tmp_path, capsys):
    run_on(exports(stamp(fleet)))
    assert differ() == []
    out = tmp_path / "out"
    assert call(tmp_path, out, "--known-at", "2026-05-12", "--as-of", "2026-05-10") == 0
    assert "For 10 May 2026, between 12 May 2026 and now: nothing differs" in plain(capsys.readouterr().out)
    assert "nothing differs, neither in what is on record nor in a figure" in plain((out / "changes.html").read_text("utf-8"))
    assert read_csv(out) == [list(HEADER)]


def call(tmp_path: Path, out: Path, *options: str) -> int:
    return main(["changes", "--store", str(tmp_path / "store"), "--out", str(out), *options])


def plain(text: str) -> str:
    """With plain spaces for those that keep a date on one line, and without the marks at which a path may break."""
    return text.replace("<wbr>", "").replace("\u00a0", " ").replace("\u202f", " ")


def read_csv(out: Path) -> list[list[str]]:
    return list(csv.reader((out / "changes.csv").read_text("utf-8-sig").splitlines()))


@pytest.fixture
def busy(exports, run_on, fleet) -> None:
    """A store in which everything happened between the two moments, on two vessels."""
    fleet = {
        **fleet,
        "vessel.csv": f"{fleet['vessel.csv']}\n{VESSEL_B},Brisk Tern",
        "b/unit.csv": f"unit_id,imo_number,agent,form,charge_kg,made_on,in_service_on\nU3,{VESSEL_B},powder,portable,6,2019-01-01,2020-01-01\n"
        f"U4,{VESSEL_B},foam,portable,9,2019-01-01,2020-01-01",
        "b/inspection.csv": f"{HEAD}\nU3,{VESSEL_B},2026-04-29,satisfactory\nU4,{VESSEL_B},2026-04-29,fine\nU9,{VESSEL_B},2026-04-29,satisfactory",
        "b/spare.csv": f"imo_number,counted_on,agent,charge_kg,spare_charges\n{VESSEL_B},2026-01-01,powder,6,3",
    }
    run_on(exports(stamp(fleet)))
    more = {
        **fleet,
        "late/inspection.csv": f"{HEAD}\nU2,{VESSEL_A},2026-04-28,satisfactory\nU1,{VESSEL_A},2026-02-27,unsatisfactory",
        "late/finding.csv": "unit_id,imo_number,found_on,component,defect,severity\n"
        f"U1,{VESSEL_A},2026-04-30,shell,corrosion,unfit\nU3,{VESSEL_B},2026-04-29,hose,damaged,major",
        "late/unit.csv": f"unit_id,imo_number,agent,form,charge_kg,made_on,in_service_on,removed_on\nU4,{VESSEL_B},foam,portable,9,2019-01-01,2020-01-01,2026-05-01\n"
        f"U9,{VESSEL_B},powder,portable,6,2019-01-01,2020-01-01,",
        "late/spare.csv": f"imo_number,counted_on,agent,charge_kg,spare_charges\n{VESSEL_B},2026-04-01,powder,6,1",
        "b/inspection.csv": fleet["b/inspection.csv"].replace(f"U3,{VESSEL_B},2026-04-29", f"U3,{VESSEL_B},2026-03-29"),
    }
    dates = {"late_inspection_csv": "2026-05-20", "late_finding_csv": "2026-05-21", "late_unit_csv": "2026-05-22"}
    run_on(exports(stamp(more, **dates, late_spare_csv="2026-05-23", b_inspection_csv="2026-05-24")))


# Tables, what names a row of them and what of it is compared, written down again and not read from changes.toml.
FIGURES = {
    "duty_now": ("imo_number, unit_id, duty", "state, basis_on, basis_kind, due_on, days_overdue, rule_id", "figure.duty_now"),
    "verdict": (
        "imo_number, unit_id, rule_id || case when measure is null then ': ' || reason else '' end",
        "verdict, reason, value, limit_value, seen_on",
        "(from figure.verdict where verdict <> 'placement')",
    ),
    "placement_now": ("imo_number, unit_id, breach || ': ' || rule_id", "verdict, reason", "figure.placement_now"),
    "unit_now": (
        "imo_number, unit_id",
        "counted, position_no, space_name, space_category, agent, agent_detail, foam_kind, form, expelled_by, charge_l, charge_kg, lining, maker, "
        "model, made_on, made_on_precision, in_service_on, last_inspected_on, last_serviced_on, last_missed_on, last_missed_outcome, "
        "open_findings, worst_open_severity, overdue_duties",
        "figure.unit_now",
    ),
    "overdue_monthly": ("imo_number, duty, month_end", "units, overdue, unknown", "figure.overdue_monthly"),
    "agent_mix": (
        "imo_number, concat_ws(', ', coalesce(agent, 'agent not on record'), agent_detail, foam_kind)",
        "units, total_charge_l, total_charge_kg, obsolete_units, spare_charges_held, spare_charges_required, unsuitable_placements, "
        "refill_unknown_units",
        "figure.agent_mix",
    ),
    "number_now": (
        "imo_number, concat_ws(', ', rule_id, agent, charge_l::varchar || ' l', charge_kg::varchar || ' kg')",
        "units, unknown_units, required, required_at_most, held, usable, short_by, state, reason",
        "figure.number_now",
    ),
}


def read_cells(db: Path) -> dict[tuple, str]:
    """Every cell of the figures: (table, key, column) to its text. Each key of these small fleets is there once."""
    cells = {}
    with duckdb.connect(str(db), read_only=True) as con:
        for table, (key, columns, rows) in FIGURES.items():
            names = columns.split(", ")
            width = len(con.execute(f"select {key} from {rows}").description)
            for row in con.execute(f"select {key}, {columns} from {rows}").fetchall():
                for name, value in zip(names, row[width:], strict=True):
                    assert (table, row[:width], name) not in cells
                    if value is not None:
                        cells[table, row[:width], name] = str(value)
    return cells


def read_records(db: Path) -> dict[tuple, dict]:
    with duckdb.connect(str(db), read_only=True) as con:
        found = {}
        for table in contract.tables().values():
            columns = [name for name in table.column_names if name not in table.key]
            for row in con.execute(f"select {', '.join([*table.key, *columns])} from record.{table.name}").fetchall():
                key = ", ".join(str(value) for value in row[: len(table.key)] if value is not None)
                found[table.name, key] = dict(zip(columns, row[len(table.key) :], strict=True))
        return found


@contextmanager
def built(tmp_path: Path):
    """Both databases, built as any run builds them, and the comparison of them."""
    store, dbs = tmp_path / "store", []
    for name, moment in (("then", EARLIER), ("now", LATER)):
        dbs.append(tmp_path / f"{name}.duckdb")
        run(RunOptions((), store, dbs[-1], AS_OF, moment, is_trial=True))
    with duckdb.connect() as con:
        compare(con, *dbs, Store(store).ledger(), Asked(store, (EARLIER, LATER), AS_OF))
        yield *dbs, con


def test_the_cells_named_are_those_of_a_plain_comparison(busy, tmp_path):
    with built(tmp_path) as (then_db, now_db, con):
        named = con.execute(
            "select table_name, imo_number, unit_id, duty, item, month_end, column_name, then_value, now_value from change.cell where is_figure"
        ).fetchall()
        records = con.execute(
            "select table_name, item, column_name, then_value, now_value from change.cell where not is_figure and now_value is distinct from null "
            "and now_value not like 'set aside%' or not is_figure and then_value not like 'set aside%'"
        ).fetchall()
    then, now = read_cells(then_db), read_cells(now_db)
    expected = {
        (*place, then.get(place), now.get(place)) for place in then.keys() | now.keys() if then.get(place) != now.get(place)
    }
    found = [
        (table, tuple(part for part in key if part is not None), column, was, is_now)
        for table, *key, column, was, is_now in named
    ]
    assert len(found) == len(set(found)) and set(found) == expected
    assert {table for table, *_ in found} >= {"duty_now", "verdict", "unit_now", "overdue_monthly", "agent_mix"}
    then, now = read_records(then_db), read_records(now_db)
    cells = set()
    for table, key in then.keys() | now.keys():
        was, is_now = then.get((table, key)), now.get((table, key))
        if was is None or is_now is None:
            cells.add((table, key, "(record)", key if was else None, key if is_now else None))
        else:
            cells |= {(table, key, name, text(was[name]), text(is_now[name])) for name in was if was[name] != is_now[name]}
    assert set(records) == cells and len(records) == len(cells) > 5


def text(value: object) -> str | None:
    return None if value is None else str(value).lower() if isinstance(value, bool) else str(value)


def test_every_difference_is_explained_and_counts_by_their_units(busy, tmp_path):
    with built(tmp_path) as (_, _, con):
        cells = con.execute("select table_name, column_name, then_value, now_value, why from change.cell").fetchall()
        members = con.execute(
            "select imo_number, duty, month_end, measure, sum(sign) from change.unit_reason group by all"
        ).fetchall()
        counts = con.execute(
            "select imo_number, duty, month_end, column_name, coalesce(now_value, '0')::int - coalesce(then_value, '0')::int "
            "from change.cell where table_name = 'overdue_monthly' and imo_number <> '*'"
        ).fetchall()
    assert all(why for *_, why in cells)
    assert not [cell for cell in cells if "could not be traced" in cell[-1]]
    sums = {tuple(key): number for *key, number in members}
    assert counts and all(
        sums.get((imo, duty, month, column), 0) == difference for imo, duty, month, column, difference in counts
    )
    for table, column, was, is_now, why in cells:
        if table == "overdue_monthly" or (table, column) == ("agent_mix", "units"):
            ended = re.search(r"(\d+) units? no longer counted: ([^;]+)", why)
            begun = re.search(r"(\d+) units? newly counted: ([^;]+)", why)
            assert all(int(said[1]) == len(said[2].split(", ")) for said in (ended, begun) if said)
            number = int(begun[1] if begun else 0) - int(ended[1] if ended else 0)
            assert number == int(is_now or 0) - int(was or 0), (table, column, was, is_now, why)


def test_a_count_that_no_unit_explains_is_said_to_be_untraced(busy, tmp_path):
    """The figure is falsified after the fact: the comparison must not make up a reason."""
    store, dbs = tmp_path / "store", [tmp_path / "then.duckdb", tmp_path / "now.duckdb"]
    for db in dbs:
        run(RunOptions((), store, db, AS_OF, LATER, is_trial=True))
    with duckdb.connect(str(dbs[1])) as con:
        con.execute("update figure.overdue_monthly set overdue = overdue + 2 where imo_number = '*' and duty = '*'")
        con.execute("update figure.unit_now set maker = 'Ashquill' where unit_id = 'U1'")
    with duckdb.connect() as con:
        compare(con, *dbs, Store(store).ledger(), Asked(store, (EARLIER, LATER), AS_OF))
        whys = dict(con.execute("select table_name, why from change.cell").fetchall())
    assert whys["overdue_monthly"] == "could not be traced to single units: 0 of 2 are"
    assert whys["unit_now"] == "could not be traced to a record"


def test_the_same_call_in_either_order_writes_the_same_bytes(busy, tmp_path, capsys):
    for name, moments in (("one", ("2026-05-12", "2026-05-31")), ("two", ("2026-05-31", "2026-05-12"))):
        options = [part for moment in moments for part in ("--known-at", moment)]
        assert call(tmp_path, tmp_path / name, *options, "--as-of", "2026-05-10") == 0
    files = [sorted(path.relative_to(tmp_path / name) for path in (tmp_path / name).rglob("*.*")) for name in ("one", "two")]
    assert files[0] == files[1] and {str(path) for path in files[0]} == {
        "assets/site.js", "assets/style.css", "changes.csv", "changes.html",
    }  # fmt: skip
    assert all((tmp_path / "one" / path).read_bytes() == (tmp_path / "two" / path).read_bytes() for path in files[0])
    page = plain((tmp_path / "one/changes.html").read_text("utf-8"))
    assert "late/inspection.csv" in page and "as many units overdue" not in page
    assert not re.findall(r'(?:href|src)="(?!assets/|#|changes\.csv|data:)', page)
    said = plain(capsys.readouterr().out)
    assert "For 10 May 2026, between 12 May 2026 and 31 May 2026: " in said and "received 20 May 2026 (late file)" in said
    rows = read_csv(tmp_path / "one")
    assert rows[0] == list(HEADER) and all(row[10] for row in rows[1:]) and len(rows) > 50


def test_one_vessel_leaves_out_the_others_and_the_fleet(busy, differ):
    cells = differ(vessel=VESSEL_B)
    assert cells and {cell["imo_number"] for cell in cells} == {VESSEL_B}
    everything = [cell for cell in differ() if cell["imo_number"] == VESSEL_B]
    assert cells == everything


def test_rules_of_the_company_are_said_to_have_no_history(exports, run_on, fleet, tmp_path):
    rules = 'regime = "Company"\nlayer = "company"\nbreach_label = "company rule"\nabout = "nothing yet"\n'
    folder = exports(stamp(fleet))
    (folder / "rules").mkdir()
    (folder / "rules" / "own.toml").write_text(rules)
    run_on(folder)
    assert call(tmp_path, tmp_path / "out", "--known-at", "2026-05-12") == 0
    page = (tmp_path / "out/changes.html").read_text("utf-8")
    assert "These folders have rule files of their own." in page and "not rules" in page


@pytest.mark.parametrize(
    "options, said, slug",
    [
        (["--known-at", "2026-05-12", "--vessel", "9999981"], "No vessel 9999981 in the store", "unknown-vessel-asked"),
        (["--known-at", "2026-05-12", "--as-of", "1999-01-01"], "No record lies on or before 1999-01-01: the first is of 2016-01-31", "nothing-by-then"),
        (["--known-at", "1995-01-01"], "No file that counts had been received by 1995-01-01", "nothing-known"),
        (["--known-at", "yesterday"], "--known-at 'yesterday' is not a date", "bad-date"),
        (["--known-at", "2026-05-12", "--as-of", "2026-13-01"], "--as-of '2026-13-01' is not a date", "bad-date"),
        ([], "changes needs --known-at once or twice", "usage"),
        (["--known-at", "2026-05-12"] * 3, "changes needs --known-at once or twice", "usage"),
        (["--known-at", "2026-05-12", "--store", "nowhere"], "The store nowhere holds no file yet", "no-store"),
    ],
)  # fmt: skip
def test_what_can_be_asked_wrongly_is_one_sentence(plain_store, tmp_path, capsys, options, said, slug):
    out = tmp_path / "out"
    assert call(plain_store, out, *options) == 2
    shown = capsys.readouterr().err.strip().replace("'9999981'", "9999981")
    assert said in shown and shown.endswith(f"[{slug}]") and "\n" not in shown
    assert not out.exists() and not Path("nowhere").exists()


@pytest.mark.parametrize("is_file", [False, True])
def test_a_folder_that_holds_something_is_left_as_it_is(plain_store, tmp_path, capsys, is_file):
    out = tmp_path / "out"
    kept = out if is_file else out / "letter.txt"
    kept.parent.mkdir(exist_ok=True)
    kept.write_text("kept")
    assert call(plain_store, out, "--known-at", "2026-05-12") == 2
    assert "exists and is no empty folder" in capsys.readouterr().err and kept.read_text() == "kept"


def test_moments_are_sorted():
    one, two = read_moment("2026-05-12"), read_moment("2026-05-31")
    assert sort_moments([two, one]) == sort_moments([one, two]) == (one, two) and sort_moments([one]) == (one, None)
    with pytest.raises(UserError, match="once or twice"):
        sort_moments([])


def test_the_day_is_that_of_the_earlier_moment_unless_said(plain_store, tmp_path):
    assert call(plain_store, tmp_path / "out", "--known-at", "2026-05-12T09:30") == 0
    page = plain((tmp_path / "out/changes.html").read_text("utf-8"))
    assert "For 12 May 2026, between 12 May 2026 09:30:00 UTC and now" in page
    assert date(2026, 5, 12) != AS_OF
