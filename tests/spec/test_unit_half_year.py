"""The training table of the watch list: what stands in a row, and that nothing later can change it.

In: a small fleet worked by hand, and one of the simulator whose records are cut at a day. Out: rows of figure.unit_half_year.
"""

from datetime import date, datetime
from pathlib import Path

import pytest

from pipeline.warehouse.build import open_scratch
from tests.conftest import VESSEL_A
from tests.simulator.write_canonical import write_canonical
from tests.statistics.watched_fleet import figure_rows, load_records

TOLD_LATER = (  # the outcome: all else is known on the day
    "condemned, condemned_on, gone_reason, gone_on, watched_share, is_now, told_on, condemned_known_on, gone_known_on"
)
CUT_ON = date(2025, 1, 1)
MONTHS = [(year, month) for year in (2020, 2021, 2022, 2023, 2024) for month in range(1, 13)]


@pytest.fixture
def one_vessel() -> dict[str, str]:
    """Two units looked at every month from 2020 on, each month in its own file that comes five days after it."""
    texts = {
        "vessel.csv": f"imo_number,vessel_name\n{VESSEL_A},Quiet Heron",
        "unit.csv": f"""unit_id,imo_number,agent,form,charge_kg,wall_mm,wall_min_mm,maker,model,made_on,in_service_on,removed_on,removal_reason
            U1,{VESSEL_A},powder,portable,6,1.6,1.2,Vorrandel,V6,2012-07-01,2019-01-01,2023-11-20,condemned
            U2,{VESSEL_A},powder,portable,6,1.6,1.2,Vorrandel,V6,2012-09-01,2019-01-01,2023-10-01,lost
            U3,{VESSEL_A},powder,portable,6,1.6,1.2,Vorrandel,V6,2012-09-01,2019-01-01,,""",
    }
    received = ["path,received_at", "vessel.csv,2020-01-02", "unit.csv,2020-01-02"]
    for year, month in MONTHS:
        name, came = f"{year}-{month:02d}/inspection.csv", date(year + month // 12, month % 12 + 1, 5)
        rows = [f"U{n},{VESSEL_A},{year}-{month:02d}-15,satisfactory" for n in (1, 2, 3)]
        texts[name] = "\n".join(["unit_id,imo_number,inspected_on,outcome", *rows])
        received.append(f"{name},{came}")
    head = "unit_id,imo_number,serviced_on,kind,outcome,wall_mm_measured"
    for day, came, more in (("2021-12-20", "2022-01-05", ",1.5"), ("2022-12-20", "2023-01-05", ",1.4")):
        texts[f"{day}/service.csv"] = f"{head}\nU1,{VESSEL_A},{day},annual_service,satisfactory{more}"
        received.append(f"{day}/service.csv,{came}")
    head = "unit_id,imo_number,found_on,component,defect,severity,rust_grade"
    for name, row, came in (
        ("a", "2021-12-20,shell,corrosion,minor,Ri2", "2022-01-05"),
        ("b", "2022-12-20,shell,corrosion,minor,Ri3", "2022-12-28"),
        ("c", "2022-12-20,shell,corrosion,unfit,Ri5", "2023-02-10"),  # the same finding, made worse by a later file
        ("d", "2022-12-20,hose,damaged,minor,", "2023-02-10"),  # reported late
    ):
        texts[f"{name}/finding.csv"] = f"{head}\nU1,{VESSEL_A},{row}"
        received.append(f"{name}/finding.csv,{came}")
    return texts | {"received.csv": "\n".join(received)}


def read_row(con, day: str, unit_id: str, columns: str) -> tuple:
    return con.execute(
        f"select {columns} from figure.unit_half_year where starts_on = ? and unit_id = ?", [day, unit_id]
    ).fetchone()


def test_a_row_holds_what_was_known_on_its_day(exports, run_on, one_vessel):
    """Worked by hand: on 1 January 2023 the service of 20 December had not been reported, the finding of that day had."""
    con = run_on(exports(one_vessel), as_of=date(2024, 12, 31))[1]
    columns = "annual_services, last_wall, corrosion_days, worst_grade, is_major, other_defects"
    columns = columns.replace("last_wall", "round(wall_lost_mm, 3)")
    assert read_row(con, "2023-01-01", "U1", columns) == (1, 0.1, 2, 3, False, 0)
    assert read_row(con, "2023-07-01", "U1", columns) == (2, 0.2, 2, 5, True, 1)
    assert read_row(con, "2023-01-01", "U1", "grade_rise, missed_services, is_test_due, test_due_on::varchar") == (
        1, 1, True, "2022-07-01",
    )  # fmt: skip


def test_a_row_tells_what_became_of_the_unit(exports, run_on, one_vessel):
    con = run_on(exports(one_vessel), as_of=date(2024, 12, 31))[1]
    columns = "condemned, gone_reason, round(watched_share, 3)"
    assert read_row(con, "2022-07-01", "U1", columns) == (False, None, 1)  # condemned 16 months later
    assert read_row(con, "2023-01-01", "U1", columns) == (True, None, 1)
    assert read_row(con, "2023-01-01", "U2", columns) == (False, "lost", round(273 / 365, 3))
    assert read_row(con, "2023-07-01", "U3", columns) == (False, None, 1)
    assert read_row(con, "2024-01-01", "U3", columns) == (None, None, None)  # the year is not over on 31 December
    assert read_row(con, "2024-01-01", "U3", "batch_condemned, vessel_condemned") == (1, 1)
    assert read_row(con, "2024-01-01", "U1", "1") is None


def test_half_years_begin_when_the_look_back_is_full(exports, run_on, one_vessel):
    con = run_on(exports(one_vessel), as_of=date(2024, 12, 31))[1]
    days = con.execute("select distinct starts_on::varchar from figure.unit_half_year where not is_now order by all").fetchall()
    assert [day for (day,) in days] == ["2022-07-01", "2023-01-01", "2023-07-01", "2024-01-01", "2024-07-01"]


def test_a_row_is_that_of_the_records_known_then(exports, run_on, one_vessel):
    """The run as of 1 January 2023 on the files received by then gives the rows that the run of today has for that day."""
    full = run_on(exports(one_vessel), as_of=date(2024, 12, 31))[1]
    then = run_on(exports(one_vessel), as_of=date(2023, 1, 1), known_at=datetime(2023, 1, 1, 23, 59, 59))[1]
    rows = [
        con.execute(f"select * exclude ({TOLD_LATER}) from figure.unit_half_year where starts_on = date '2023-01-01' order by unit_id").fetchall()
        for con in (full, then)
    ]  # fmt: skip
    assert len(rows[0]) == 3 and rows[0] == rows[1]


@pytest.fixture(scope="module")
def cut_fleet(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("cut")
    write_canonical(folder, 3, 6, 25, 4071, "year")
    return folder


def forget_later(con, day: date) -> None:
    """Take away what had not happened by then; a stay that goes on has no end."""
    for table, column in (("inspection", "inspected_on"), ("service", "serviced_on"), ("finding", "found_on")):
        con.execute(f"delete from record.{table} where {column} > ?", [day])
    con.execute("update record.finding set closed_on = null, action = null where closed_on > ?", [day])
    con.execute("delete from record.unit where in_service_on > ?", [day])
    con.execute("update record.unit set removed_on = null, removal_reason = null where removed_on > ?", [day])
    con.execute("update record.unit set landed_from = null, landed_to = null where landed_from > ?", [day])


def read_known(con) -> list[tuple]:
    return con.execute(
        f"select * exclude ({TOLD_LATER}) from figure.unit_half_year where starts_on <= ? order by starts_on, unit_id", [CUT_ON]
    ).fetchall()


def test_no_later_record_changes_an_earlier_row(cut_fleet):
    """Leakage: the figures of records cut at a day equal the rows of that day, and of those before, in the figures of all records."""
    rows = []
    for is_cut in (False, True):
        con = open_scratch()
        load_records(con, cut_fleet)
        if is_cut:
            forget_later(con, CUT_ON)
        figure_rows(con, CUT_ON if is_cut else date(2026, 10, 31))
        rows.append(read_known(con))
        con.close()
    full, cut = rows
    assert len(full) > 300 and any(row[8] for row in full)
    assert [row for row in cut if row not in set(full)] == [] and len(full) == len(cut)


FINDING = "unit_id,imo_number,found_on,component,defect,severity,rust_grade"
SERVICE = "unit_id,imo_number,serviced_on,kind,outcome,wall_mm_measured"
# What comes after 1 July 2023 and is of days before it: file, its text, its day of receipt.
TOLD_LATE = (
    # the same finding and the same wall made worse, a pressure test that turns out not to have been passed
    ("late1/finding.csv", f"{FINDING}\nU1,{VESSEL_A},2022-12-20,shell,corrosion,unfit,Ri5", "2024-06-01"),
    ("late1/service.csv", f"{SERVICE}\nU1,{VESSEL_A},2022-12-20,annual_service,satisfactory,1.0", "2024-06-01"),
    ("late2/service.csv", f"{SERVICE}\nU2,{VESSEL_A},2022-03-10,pressure_test,unsatisfactory,", "2024-06-01"),
    # one record long after its event, and a month's file with a stray old row beside a late one
    ("late3/finding.csv", f"{FINDING}\nU3,{VESSEL_A},2023-06-20,shell,corrosion,major,Ri5", "2024-03-20"),
    ("late4/finding.csv", f"{FINDING}\nU2,{VESSEL_A},2023-01-20,hose,damaged,minor,\nU2,{VESSEL_A},2023-06-28,shell,corrosion,major,Ri5", "2023-07-20"),
    # looks of years before the first file, which would let half-years begin earlier
    ("late5/inspection.csv", f"unit_id,imo_number,inspected_on,outcome\nU1,{VESSEL_A},2019-02-15,no_access", "2024-03-05"),
)  # fmt: skip
REGISTER = f"""unit_id,imo_number,agent,form,charge_kg,wall_mm,wall_min_mm,maker,model,made_on,in_service_on,removed_on,removal_reason
    U1,{VESSEL_A},co2,portable,6,1.7,1.55,Vorrandel,V6,2010-07-01,2019-01-01,2023-11-20,condemned
    U2,{VESSEL_A},powder,portable,6,1.6,1.2,Vorrandel,V6,2012-09-01,2019-01-01,2023-10-01,lost
    U3,{VESSEL_A},powder,portable,6,1.6,1.2,Vorrandel,V6,2012-09-01,2019-01-01,2023-05-01,condemned
    U4,{VESSEL_A},powder,portable,6,1.6,1.2,Vorrandel,V6,2012-09-01,2020-02-01,,"""
KNOWN = f"select * exclude ({TOLD_LATER}) from figure.unit_half_year where starts_on <= date '2023-07-01' and not is_now order by starts_on, unit_id"


def read_plain(con) -> list[tuple]:
    """The rows to mid-2023 as dictionaries, so that a difference names its column."""
    cursor = con.execute(KNOWN)
    names = [column[0] for column in cursor.description]
    return [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]


@pytest.fixture
def tested_vessel(one_vessel) -> dict[str, str]:
    """The same vessel with a pressure test of U2 passed, and a register that knows of nothing that was to come."""
    known = REGISTER.replace("co2", "powder").replace("1.7,1.55", "1.6,1.2").replace("2010", "2012").split("\n")[:4]
    known = [line.rsplit(",", 2)[0] + ",," if n else line for n, line in enumerate(known)]
    return one_vessel | {
        "unit.csv": "\n".join(known),
        "test/service.csv": f"{SERVICE}\nU2,{VESSEL_A},2022-03-10,pressure_test,satisfactory,",
        "received.csv": one_vessel["received.csv"] + "\ntest/service.csv,2022-04-01",
    }


def test_nothing_told_later_changes_an_earlier_row(exports, run_on, tested_vessel):
    """Restated, late, corrected, a register that says otherwise: each counts from the day on which it came."""
    before = read_plain(run_on(exports(tested_vessel), as_of=date(2024, 12, 31))[1])
    more = {name: text for name, text, _ in TOLD_LATE} | {"late6/unit.csv": REGISTER}
    received = [f"{name},{day}" for name, _, day in TOLD_LATE] + ["late6/unit.csv,2024-09-05"]
    corrections = "file,record,column,from,to,why,who,on\nb/finding.csv,1,rust_grade,Ri3,Ri5,misread,super,2024-11-18"
    corrections += "\n2021-12-20/service.csv,1,wall_mm_measured,1.5,1.0,misread,super,2024-11-18"
    texts = (
        tested_vessel
        | more
        | {"corrections.csv": corrections, "received.csv": "\n".join([tested_vessel["received.csv"], *received])}
    )
    con = run_on(exports(texts, "later"), as_of=date(2024, 12, 31), store="later")[1]
    after = read_plain(con)
    assert len(before) == 9 and len(after) == 9
    told = [
        (str(a["starts_on"]), a["unit_id"], name, a[name], b[name]) for a, b in zip(before, after, strict=True) for name in a if a[name] != b[name]
    ]  # fmt: skip
    assert told == []
    # and all of it is there once it has come
    assert read_row(con, "2024-12-31", "U2", "worst_grade, test_due_on::varchar") is None  # lost by then
    assert read_row(con, "2024-01-01", "U2", "worst_grade, is_major, test_due_on::varchar") == (5, True, "2032-03-10")
    assert read_row(con, "2024-07-01", "U1", "worst_grade, wall_lost_mm > .5, hard_signs") == (5, True, 1)
    assert read_row(con, "2024-07-01", "U3", "worst_grade, condemned") == (5, None)
    assert read_row(con, "2023-07-01", "U3", "condemned") == (None,)  # it had been condemned, and nobody knew


def test_the_past_that_comes_when_firekpi_is_taken_up_counts_from_its_events(exports, run_on, one_vessel):
    """All files on one day: the finding of December 2022 stands in the row of January, and its last version at that."""
    texts = {name: text for name, text in one_vessel.items() if name != "received.csv"}
    con = run_on(exports(texts), as_of=date(2024, 12, 31))[1]
    assert read_row(con, "2023-01-01", "U1", "annual_services, worst_grade, other_defects") == (2, 5, 1)


def test_when_an_outcome_could_be_told(exports, run_on, tested_vessel):
    """U3's condemnation of May 2023 came in September 2024; that the others were not, with the first look after the year."""
    texts = tested_vessel | {
        "late6/unit.csv": REGISTER,
        "received.csv": tested_vessel["received.csv"] + "\nlate6/unit.csv,2024-09-05",
    }
    con = run_on(exports(texts), as_of=date(2024, 12, 31))[1]
    told = "condemned, condemned_known_on::varchar, told_on::varchar"
    assert read_row(con, "2023-01-01", "U3", told) == (True, "2024-09-05", "2024-02-05")
    assert read_row(con, "2023-01-01", "U1", told) == (True, "2024-09-05", "2024-02-05")
    assert read_row(con, "2023-01-01", "U2", "condemned, gone_on::varchar, gone_known_on::varchar") == (
        False,
        "2023-10-01",
        "2024-09-05",
    )
