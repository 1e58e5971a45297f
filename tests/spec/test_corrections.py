"""Declared corrections: one cell put right by name, seen in the database, and refused as soon as it no longer fits."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from pipeline.errors import UserError
from tests.conftest import VESSEL_A

HEAD = "file,record,column,from,to,why,who,on"
ROW = "inspection.csv,2,outcome,fine,satisfactory,the mate wrote fine for in order,superintendent,2026-05-02"


@pytest.fixture
def spoilt(small_fleet) -> dict[str, str]:
    rows = f"unit_id,imo_number,inspected_on,outcome\nU1,{VESSEL_A},2026-03-31,satisfactory\nU2,{VESSEL_A},2026-03-31, fine "
    return {**small_fleet, "inspection.csv": rows}


def test_a_correction_changes_its_cell_and_is_on_record(exports, run_on, spoilt):
    _, con = run_on(exports({**spoilt, "corrections.csv": f"{HEAD}\n{ROW}"}))
    assert con.execute("select unit_id, outcome from record.inspection order by all").fetchall() == [
        ("U1", "satisfactory"),
        ("U2", "satisfactory"),
    ]
    found = con.execute("select path, record_no, column_name, from_value, to_value, who, declared_on::varchar, declared_in, declared_record_no "
                        "from intake.correction join intake.file using (file_id)").fetchall()  # fmt: skip
    assert found == [
        (
            "exports/inspection.csv",
            2,
            "outcome",
            "fine",
            "satisfactory",
            "superintendent",
            "2026-05-02",
            "exports/corrections.csv",
            1,
        )
    ]
    assert con.execute("select count(*) from intake.quarantine").fetchone() == (0,)


def test_taking_a_correction_out_brings_the_cell_back(exports, run_on, spoilt):
    folder = exports({**spoilt, "corrections.csv": f"{HEAD}\n{ROW}"})
    run_on(folder)
    (folder / "corrections.csv").write_text(HEAD + "\n")
    _, con = run_on(folder)
    assert con.execute("select count(*) from record.inspection").fetchone() == (1,)


def test_as_known_before_the_correction_came_the_cell_is_as_it_came(exports, run_on, spoilt):
    received = "path,received_at\n" + "\n".join(f"{name},2026-05-01" for name in spoilt) + "\ncorrections.csv,2026-05-05"
    folder = exports({**spoilt, "corrections.csv": f"{HEAD}\n{ROW}", "received.csv": received})
    _, con = run_on(folder)
    assert con.execute("select count(*) from record.inspection").fetchone() == (2,)
    _, con = run_on(folder, known_at=datetime(2026, 5, 4, tzinfo=UTC))
    assert con.execute(
        "select (select count(*) from record.inspection), (select count(*) from intake.correction)"
    ).fetchone() == (1, 0)


@pytest.mark.parametrize(
    "row, why",
    [
        (ROW.replace("inspection.csv", "inspections.csv"), "no such file"),
        (ROW.replace(",2,", ",7,"), "no such record"),
        (ROW.replace("outcome,fine", "verdict,fine"), "no such column"),
        ('inspection.csv,2,(record),"U1,9999993,2026-03-31,fine",set aside,w,w,2026-05-02', "the record is"),
        (ROW.replace(",fine,", ",good,"), "the cell is 'fine', not 'good'"),
    ],
)
def test_a_correction_that_does_not_fit_stops_the_run(exports, run_on, spoilt, row, why):
    with pytest.raises(UserError, match=why) as caught:
        run_on(exports({**spoilt, "corrections.csv": f"{HEAD}\n{row}"}))
    assert caught.value.slug == "correction-without-match" and "exports/corrections.csv, record 1" in str(caught.value)


def test_a_correction_that_a_new_version_made_needless_stops_the_run(exports, run_on, spoilt):
    folder = exports({**spoilt, "corrections.csv": f"{HEAD}\n{ROW}"})
    run_on(folder)
    (folder / "inspection.csv").write_text(spoilt["inspection.csv"].replace(" fine ", "satisfactory"))
    with pytest.raises(UserError, match="the cell is 'satisfactory' already, so take the correction out"):
        run_on(folder)
    (folder / "corrections.csv").unlink()
    summary, con = run_on(folder)
    assert any("corrections.csv is no longer" in note for note in summary.notes)
    assert con.execute("select count(*) from record.inspection").fetchone() == (2,)
    assert not any("corrections.csv" in note for note in run_on(folder)[0].notes)


def test_a_record_can_be_set_aside_whether_good_or_broken(exports, run_on, spoilt):
    rows = spoilt["inspection.csv"] + f"\nU1,{VESSEL_A}"
    lines = rows.splitlines()
    aside = [
        f'inspection.csv,{number},(record),"{lines[number]}",set aside,a drill and no look,superintendent,2026-05-02'
        for number in (1, 2, 3)
    ]
    summary, con = run_on(exports({**spoilt, "inspection.csv": rows, "corrections.csv": "\n".join([HEAD, *aside])}))
    assert con.execute("select count(*) from record.inspection").fetchone() == (0,)
    found = con.execute(
        "select record_no, rule, superseded_by = declared_file_id, reason from intake.quarantine join intake.correction using (file_id, record_no) order by 1"
    )
    said = "The record was set aside by a declaration: a drill and no look (superintendent, 2026-05-02). Take the declaration out of corrections.csv to count the record again."
    assert found.fetchall() == [(number, "set-aside", True, said) for number in (1, 2, 3)]
    assert summary.records_open == 0 and summary.rows_quarantined == 3


def test_explain_names_corrections_and_earlier_versions(exports, run_on, spoilt, tmp_path):
    from pipeline.explain import explain_unit

    folder = exports(
        {**spoilt, "corrections.csv": f"{HEAD}\n{ROW}", "received.csv": "path,received_at\ninspection.csv,2026-05-01"}
    )
    run_on(folder)[1].close()
    again = f"unit_id,imo_number,inspected_on,outcome\nU2,{VESSEL_A},2026-03-31,unsatisfactory\n"
    (folder / "more").mkdir()
    (folder / "more/inspection.csv").write_text(again)
    run_on(folder)[1].close()
    before, after = ("\n".join(explain_unit(tmp_path / f"store-{number}.duckdb", "U2")) for number in (0, 1))
    assert (
        "record 2, outcome: 'fine' read as 'satisfactory'; the mate wrote fine for in order (superintendent, 2026-05-02)"
        in before
    )
    assert "Earlier versions" not in before
    assert "inspection of 2026-03-31 [exports/inspection.csv, line 3, record 2], received 2026-05-01: counted until" in after
    assert "[exports/more/inspection.csv, record 1]" in after


@pytest.mark.parametrize(
    "text, why",
    [
        ("file,record\na,1", "no column column"),
        (f"{HEAD}\n{ROW.replace('superintendent', '')}", "who is empty"),
        (f"{HEAD}\n{ROW.replace(',2,', ',two,')}", "can't be read"),
        (f"{HEAD}\n{ROW.replace('2026-05-02', '2.5.2026')}", "can't be read"),
        (f"{HEAD}\n{ROW}\n{ROW}", "twice"),
        (f"{HEAD}\n{ROW.replace(',satisfactory,', ',fine,')}", "the same"),
        (f"{HEAD}\ninspection.csv,2,(record),U2,,w,w,2026-05-02", "can only be set aside"),
        (f"{HEAD}\ninspection.csv,2,(record),,set aside,w,w,2026-05-02", "copy its line"),
        (f"{HEAD}\n{ROW},more", "more cells than headers"),
        (f'{HEAD}\n"{ROW}', "can't be read"),
        (b"\xff\xfe", "can't be read"),
    ],
)
def test_bad_corrections(exports, run_on, spoilt, text, why):
    with pytest.raises(UserError, match=why) as caught:
        run_on(exports({**spoilt, "corrections.csv": text}))
    assert caught.value.slug == "bad-correction"
