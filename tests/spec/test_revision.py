"""Files that overlap, come again, are mended or withdrawn: what counts, what is answered, what is doubted."""

from __future__ import annotations

import csv
from datetime import UTC, datetime

import pytest

from pipeline.errors import UserError
from pipeline.sheets import export_sheets
from pipeline.withdraw import take_back_withdrawal, withdraw_file
from tests.conftest import VESSEL_A, VESSEL_B

HEAD = "unit_id,imo_number,inspected_on,outcome"


def lines(*rows: str) -> bytes:
    return "\n".join(rows).encode() + b"\n"


def open_rows(con) -> list[tuple]:
    return con.execute(
        "select path, record_no, rule from intake.quarantine as q join intake.file using (file_id) where q.superseded_by is null order by all"
    ).fetchall()


def flags(con, rule: str) -> list[str]:
    return [
        value
        for (value,) in con.execute("select value from intake.flag where rule = $rule order by all", {"rule": rule}).fetchall()
    ]


@pytest.fixture
def spoilt(exports, small_fleet):
    """A folder whose round.csv-like inspection file has a wrong word and an impossible date."""
    rows = [
        HEAD,
        f"U1,{VESSEL_A},2026-03-31,satisfactory",
        f"U2,{VESSEL_A},2026-03-31,fine",
        f"U1,{VESSEL_A},2026-04-31,satisfactory",
    ]
    return exports({**small_fleet, "inspection.csv": lines(*rows)})


def test_a_corrected_file_empties_the_quarantine(spoilt, run_on):
    _, con = run_on(spoilt)
    assert [row[1:] for row in open_rows(con)] == [(2, "unknown-word"), (3, "impossible-date")]
    mended = [
        HEAD,
        f"U1,{VESSEL_A},2026-03-31,satisfactory",
        f"U2,{VESSEL_A},2026-03-31,satisfactory",
        f"U1,{VESSEL_A},2026-04-30,satisfactory",
    ]
    (spoilt / "inspection.csv").write_bytes(lines(*mended))
    summary, con = run_on(spoilt)
    assert open_rows(con) == [] and summary.records_open == 0
    assert con.execute("select count(*), count(superseded_by) from intake.quarantine").fetchone() == (2, 2)
    assert con.execute("select count(*) from record.inspection").fetchone() == (3,)


def test_a_file_that_goes_on_under_the_same_name_answers_nothing(spoilt, run_on):
    """latest.csv with next month's rows is no corrected file: last month's bad rows stay to be mended."""
    run_on(spoilt)
    (spoilt / "inspection.csv").write_bytes(lines(HEAD, f"U1,{VESSEL_A},2026-05-01,satisfactory"))
    _, con = run_on(spoilt)
    assert [row[1:] for row in open_rows(con)] == [(2, "unknown-word"), (3, "impossible-date")]
    assert flags(con, "left-out-of-later-version") == []


def test_a_row_mended_in_another_file_is_answered(spoilt, run_on):
    run_on(spoilt)
    (spoilt / "more").mkdir()
    (spoilt / "more/inspection.csv").write_bytes(lines(HEAD, f"U2,{VESSEL_A},2026-03-31,satisfactory"))
    _, con = run_on(spoilt)
    assert [row[1:] for row in open_rows(con)] == [(3, "impossible-date")]


def test_a_bad_row_sent_again_is_open_once(spoilt, run_on):
    """The same unreadable row in every monthly file: only the last one is to be mended."""
    run_on(spoilt)
    (spoilt / "more").mkdir()
    (spoilt / "more/inspection.csv").write_bytes(
        lines(HEAD, f"U1,{VESSEL_A},2026-04-31,satisfactory", f"U2,{VESSEL_A},2026-03-31,good")
    )
    _, con = run_on(spoilt)
    assert open_rows(con) == [
        ("exports/more/inspection.csv", 1, "impossible-date"),
        ("exports/more/inspection.csv", 2, "unknown-word"),
    ]


def test_the_mended_sheet_comes_back(spoilt, run_on, tmp_path):
    run_on(spoilt)[1].close()
    db = next(tmp_path.glob("*.duckdb"))
    export_sheets(db, tmp_path / "sheets")
    sheet = tmp_path / "sheets/quarantine-canonical-inspection.csv"
    text = sheet.read_text(encoding="utf-8-sig")
    assert text.count("2026-04-31") == 2 and "fine" in text
    # The date as it came stands in its own column first, and again in the reason.
    text = text.replace("2026-04-31", "2026-04-30", 1).replace(",fine,", ",satisfactory,", 1)
    (spoilt / sheet.name).write_text(text, encoding="utf-8-sig")
    _, con = run_on(spoilt)
    assert open_rows(con) == []
    found = con.execute(
        "select unit_id, inspected_on::varchar, path from record.inspection join intake.file using (file_id) order by all"
    )
    assert found.fetchall() == [
        ("U1", "2026-03-31", "exports/inspection.csv"),
        ("U1", "2026-04-30", f"exports/{sheet.name}"),
        ("U2", "2026-03-31", f"exports/{sheet.name}"),
    ]


@pytest.mark.parametrize(
    "encoding, delimiter, name",
    [
        ("utf-8", ";", "quarantine-osten.csv"),
        ("utf-8-sig", ",", "quarantine-osten.csv"),
        ("utf-16", "\t", "back/quarantine-osten (1).csv"),
        ("cp1252", ";", "mended by mate.csv"),
    ],
)
def test_a_sheet_that_a_spreadsheet_saved_in_its_own_way_is_read(
    exports, run_on, small_fleet, tmp_path, encoding, delimiter, name
):
    dialect = """name = "osten"
        files = ["rund_*.csv"]
        encoding = "cp1252"
        delimiter = ";"
        skip_head = 1
        date_formats = ["%d.%m.%Y"]
        [[table]]
        name = "inspection"
        [table.columns]
        unit_id = "Gerät"
        imo_number = { constant = "9999993" }
        inspected_on = "Datum"
        outcome = { from = "Befund", words = { "geprüft" = "satisfactory" } }"""
    round_ = "Rundgang\nGerät;Datum;Befund\nU1;31.03.2026;geprüft\nU2;31.04.2026;geprüft\n".encode("cp1252")
    folder = exports({**small_fleet, "dialects/osten.toml": dialect, "rund_3.csv": round_, "inspection.csv": HEAD})
    run_on(folder)[1].close()
    export_sheets(next(tmp_path.glob("*.duckdb")), tmp_path / "sheets")
    rows = list(csv.reader((tmp_path / "sheets/quarantine-osten.csv").read_text("cp1252").splitlines(), delimiter=";"))
    rows[1][rows[0].index("Datum")] = "30.04.2026"
    back = folder / name
    back.parent.mkdir(exist_ok=True)
    with open(back, "w", encoding=encoding, newline="") as stream:
        csv.writer(stream, delimiter=delimiter, quoting=csv.QUOTE_ALL).writerows(rows)
    _, con = run_on(folder)
    assert open_rows(con) == []
    assert con.execute("select unit_id, inspected_on::varchar from record.inspection order by all").fetchall() == [
        ("U1", "2026-03-31"),
        ("U2", "2026-04-30"),
    ]


def test_a_sheet_is_read_with_the_order_of_day_and_month_of_the_files_it_answers(exports, run_on, small_fleet, tmp_path):
    dialect = """name = "log"
        files = ["log_*.csv"]
        date_formats = ["%d/%m/%Y", "%m/%d/%Y"]
        [[table]]
        name = "inspection"
        [table.columns]
        unit_id = "No"
        imo_number = { constant = "9999993" }
        inspected_on = "Day"
        outcome = "Result\""""
    day_first = "No,Day,Result\nU1,25/03/2026,satisfactory\nX9,03/04/2026,satisfactory\n"
    month_first = "No,Day,Result\nU1,04/25/2026,satisfactory\nX8,04/13/2026,satisfactory\n"
    texts = {**small_fleet, "inspection.csv": HEAD, "dialects/log.toml": dialect, "log_1.csv": day_first}
    folder = exports(texts)
    run_on(folder)[1].close()
    export_sheets(next(tmp_path.glob("*.duckdb")), tmp_path / "one")
    sheet = (tmp_path / "one/quarantine-log.csv").read_bytes()
    (folder / "quarantine-log.csv").write_bytes(sheet.replace(b"X9,03", b"U2,03"))
    _, con = run_on(folder)
    sql = "select unit_id, inspected_on::varchar from record.inspection where unit_id = 'U2'"
    assert con.execute(sql).fetchall() == [("U2", "2026-04-03")]
    con.close()
    (folder / "quarantine-log.csv").unlink()
    (folder / "log_2.csv").write_text(month_first)
    run_on(folder, store="both")[1].close()
    export_sheets(next(tmp_path.glob("both*.duckdb")), tmp_path / "two")
    sheet = (tmp_path / "two/quarantine-log.csv").read_bytes()
    (folder / "quarantine-log.csv").write_bytes(sheet.replace(b"X9,03", b"U2,03"))
    with pytest.raises(UserError, match="2026-04-03 or as 2026-03-04"):
        run_on(folder, store="both")


def test_a_sheet_sent_in_parts_keeps_what_is_still_open(spoilt, run_on, tmp_path):
    run_on(spoilt)[1].close()
    export_sheets(next(tmp_path.glob("*.duckdb")), tmp_path / "sheets")
    rows = (tmp_path / "sheets/quarantine-canonical-inspection.csv").read_text("utf-8-sig").splitlines()
    back = spoilt / "quarantine-canonical-inspection.csv"
    back.write_text("\n".join(rows) + "\n")
    run_on(spoilt)
    back.write_text("\n".join([rows[0], rows[1].replace(",fine,", ",satisfactory,", 1)]) + "\n")
    _, con = run_on(spoilt)
    assert [row[1:] for row in open_rows(con)] == [(2, "impossible-date")]
    assert con.execute("select count(*) from record.inspection").fetchone() == (2,)


def test_a_broken_line_that_nobody_filled_in_stays_open_as_it_was(exports, run_on, small_fleet, tmp_path):
    folder = exports({**small_fleet, "inspection.csv": lines(HEAD, f"U1,{VESSEL_A},2026-03-31")})
    _, con = run_on(folder)
    before = open_rows(con)
    con.close()
    export_sheets(next(tmp_path.glob("*.duckdb")), folder)
    summary, con = run_on(folder)
    assert open_rows(con) == before == [("exports/inspection.csv", 1, "ragged-record")] and summary.rows_quarantined == 1


def test_a_file_of_bad_rows_only_is_not_answered_by_other_rows_under_its_name(exports, run_on, small_fleet):
    folder = exports(
        {
            **small_fleet,
            "inspection.csv": lines(HEAD, f"U8,{VESSEL_A},2026-03-31,satisfactory", f"U9,{VESSEL_A},2026-03-31,satisfactory"),
        }
    )
    run_on(folder)
    (folder / "inspection.csv").write_bytes(lines(HEAD, f"U1,{VESSEL_A},2026-04-30,satisfactory"))
    _, con = run_on(folder)
    assert len(open_rows(con)) == 2


def test_two_spellings_in_one_register_are_two_units(exports, run_on):
    texts = {
        **DUMPS,
        "dialects/register.toml": REGISTER.format(dump="vessel"),
        "register_2.csv": f"No,IMO,Since\nAB-07,{VESSEL_A},2020-01-01\nAB-7,{VESSEL_A},2020-01-01",
    }
    _, con = run_on(exports(texts))
    assert con.execute("select unit_id from record.unit where unit_id like 'AB%' order by all").fetchall() == [
        ("AB-07",),
        ("AB-7",),
    ]


def test_a_removal_that_a_later_row_takes_back_is_flagged(exports, run_on):
    gone = f"No,IMO,Since,Gone\nA 1,{VESSEL_A},2020-01-01,\nA 2,{VESSEL_A},2020-01-01,2025-12-31"
    texts = {**DUMPS, "dialects/register.toml": REGISTER.format(dump="vessel"), "register_1.csv": gone,
             "register_2.csv": gone.replace("2025-12-31", "")}  # fmt: skip
    _, con = run_on(exports(texts))
    assert flags(con, "end-taken-back") == ["2025-12-31"]


def test_sheets_of_sources_with_names_much_alike_do_not_take_each_others_place():
    from pipeline.intake.dialect import sheet_name

    names = ["журнал", "реестр", "log A", "Log-a", "log-a", "Über list", "ber list", "..", "/"]
    assert len({sheet_name(name) for name in names}) == len(names)
    assert sheet_name("log-a") == "quarantine-log-a" and all("/" not in sheet_name(name) for name in names)


def test_a_sheet_that_lost_its_answers_is_refused(spoilt, run_on):
    (spoilt / "quarantine-canonical-inspection.csv").write_bytes(lines(HEAD, f"U1,{VESSEL_A},2026-04-30,satisfactory"))
    with pytest.raises(UserError, match="no column 'firekpi row'"):
        run_on(spoilt)


def test_a_sheet_guards_formulas_and_takes_the_guard_back(exports, run_on, small_fleet, tmp_path):
    remark = '=HYPERLINK("x")'
    rows = [
        HEAD + ",remarks",
        f'U1,{VESSEL_A},2026-03-31,fine,"{remark.replace(chr(34), chr(34) * 2)}"',
        f"U2,{VESSEL_A},2026-03-31,fine,-5",
    ]
    folder = exports({**small_fleet, "inspection.csv": lines(*rows)})
    run_on(folder)[1].close()
    export_sheets(next(tmp_path.glob("*.duckdb")), tmp_path / "one.csv")
    with open(tmp_path / "one.csv", encoding="utf-8-sig", newline="") as stream:
        cells = [record["remarks"] for record in csv.DictReader(stream)]
    assert cells == ["'" + remark, "-5"]
    text = (tmp_path / "one.csv").read_bytes().replace(b",fine,", b",satisfactory,")
    (folder / "quarantine-canonical-inspection.csv").write_bytes(text)
    _, con = run_on(folder)
    assert con.execute("select remarks from record.inspection order by unit_id").fetchall() == [(remark,), ("-5",)]


def test_a_row_left_out_of_a_later_version_is_flagged_and_counts(exports, run_on, small_fleet):
    folder = exports(small_fleet)
    run_on(folder)
    rows = [
        HEAD,
        f"U1,{VESSEL_A},2026-03-31,satisfactory",
        f"U2,{VESSEL_A},2026-03-31,satisfactory",
        f"U1,{VESSEL_A},2026-04-29,satisfactory",
    ]
    (folder / "inspection.csv").write_bytes(lines(*rows))
    _, con = run_on(folder)
    assert con.execute("select count(*) from record.inspection").fetchone() == (4,)
    assert flags(con, "left-out-of-later-version") == ["exports/inspection.csv"]


def test_a_withdrawn_file_counts_no_more_but_did(exports, run_on, small_fleet, tmp_path):
    folder = exports(
        {**small_fleet, "received.csv": "path,received_at\n" + "\n".join(f"{name},2026-05-01" for name in small_fleet)}
    )
    run_on(folder)
    withdraw_file(tmp_path / "store", "exports/inspection.csv", "another ship's")
    summary, con = run_on(folder)
    assert con.execute("select count(*) from record.inspection").fetchone() == (0,)
    assert con.execute("select path, version, why from intake.withdrawn").fetchall() == [
        ("exports/inspection.csv", 1, "another ship's")
    ]
    assert any("is withdrawn since" in note for note in summary.notes)
    _, con = run_on(folder, known_at=datetime(2026, 5, 2, tzinfo=UTC))
    assert con.execute("select (select count(*) from record.inspection), (select count(*) from intake.withdrawn)").fetchone() == (
        3,
        0,
    )
    take_back_withdrawal(tmp_path / "store", "exports/inspection.csv")
    _, con = run_on(folder)
    assert con.execute("select count(*) from record.inspection").fetchone() == (3,)


def test_the_version_before_a_withdrawn_one_stands_again(exports, run_on, small_fleet, tmp_path):
    folder = exports(small_fleet)
    run_on(folder)
    (folder / "vessel.csv").write_text(f"imo_number,vessel_name\n{VESSEL_A},Loud Heron\n")
    run_on(folder)
    withdraw_file(tmp_path / "store", "exports/vessel.csv", "wrong name", version=2)
    (folder / "vessel.csv").unlink()
    _, con = run_on(folder)
    assert con.execute("select vessel_name from record.vessel").fetchall() == [("Quiet Heron",)]


REGISTER = """name = "register"
    files = ["register_*.csv"]
    [[table]]
    name = "unit"
    full_dump = "{dump}"
    [table.columns]
    unit_id = {{ from = "No", match = ["case", "spacing", "leading_zeros"] }}
    imo_number = "IMO"
    in_service_on = "Since"
    removed_on = {{ from = "Gone", optional = true }}"""
DUMPS = {
    "register_1.csv": f"No,IMO,Since\nA 1,{VESSEL_A},2020-01-01\nA 2,{VESSEL_A},2020-01-01\nB 1,{VESSEL_B},2020-01-01",
    "register_2.csv": f"No,IMO,Since\nA 1,{VESSEL_A},2020-01-01",
    "vessel.csv": f"imo_number\n{VESSEL_A}\n{VESSEL_B}",
    "received.csv": "path,received_at\nvessel.csv,2026-01-01\nregister_1.csv,2026-01-01\nregister_2.csv,2026-02-01",
}


@pytest.mark.parametrize("dump, vanished", [("vessel", 1), ("fleet", 2)])
def test_a_full_list_names_every_unit_that_vanished(exports, run_on, dump, vanished):
    _, con = run_on(exports({**DUMPS, "dialects/register.toml": REGISTER.format(dump=dump)}))
    assert flags(con, "vanished-from-full-list") == ["last in exports/register_1.csv, not in exports/register_2.csv"] * vanished
    assert con.execute("select count(*) from record.unit").fetchone() == (3,)


def test_a_removed_unit_may_leave_the_full_list(exports, run_on):
    texts = {
        **DUMPS,
        "dialects/register.toml": REGISTER.format(dump="vessel"),
        "register_1.csv": f"No,IMO,Since,Gone\nA 1,{VESSEL_A},2020-01-01,\nA 2,{VESSEL_A},2020-01-01,2025-12-31",
    }
    _, con = run_on(exports(texts))
    assert flags(con, "vanished-from-full-list") == []


def test_a_bad_row_of_a_full_list_is_answered_by_the_next_list(exports, run_on):
    texts = {
        **DUMPS,
        "dialects/register.toml": REGISTER.format(dump="vessel"),
        "register_1.csv": f"No,IMO,Since\nA 1,{VESSEL_A},2020-01-01\n,{VESSEL_A},2020-01-01\n,{VESSEL_B},2020-01-01\nB 1,{VESSEL_B},2020-01-01",
    }
    _, con = run_on(exports(texts))
    assert open_rows(con) == [("exports/register_1.csv", 3, "required-missing")]


def test_numbers_written_otherwise_are_matched_only_by_a_declared_rule(exports, run_on):
    log = 'name = "log"\nfiles = ["log_*.csv"]\n[[table]]\nname = "inspection"\n[table.columns]\nimo_number = "IMO"\ninspected_on = "Day"\noutcome = "Result"\n'
    texts = {
        "vessel.csv": f"imo_number\n{VESSEL_A}",
        "unit.csv": f"unit_id,imo_number,in_service_on\nAB-0012,{VESSEL_A},2020-01-01\nX 1,{VESSEL_A},2020-01-01\nx1,{VESSEL_A},2020-01-01",
        "log_1.csv": f"No,IMO,Day,Result\nab- 12,{VESSEL_A},2026-01-01,satisfactory\nAB-12,{VESSEL_A},2026-02-01,satisfactory\nX1,{VESSEL_A},2026-01-01,satisfactory",
    }
    _, con = run_on(exports({**texts, "dialects/log.toml": log + 'unit_id = "No"\n'}, "plain"), store="plain-store")
    assert con.execute("select count(*) from record.inspection").fetchone() == (0,)
    rule = 'unit_id = { from = "No", match = ["case", "spacing", "leading_zeros"] }\n'
    _, con = run_on(exports({**texts, "dialects/log.toml": log + rule}))
    assert con.execute("select distinct unit_id from record.inspection").fetchall() == [("AB-0012",)]
    assert flags(con, "unit-number-matched") == ["AB-12 read as AB-0012, in 1 rows", "ab- 12 read as AB-0012, in 1 rows"]
    # X1 fits both 'X 1' and 'x1' of the register: it is not matched.
    assert [row[2] for row in open_rows(con)] == ["unknown-unit"]


def test_two_registers_that_write_a_number_differently_speak_of_one_unit(exports, run_on):
    texts = {
        **DUMPS,
        "dialects/register.toml": REGISTER.format(dump="vessel"),
        "register_2.csv": f"No,IMO,Since\na1,{VESSEL_A},2020-01-01\nA 02,{VESSEL_A},2020-01-01",
    }
    summary, con = run_on(exports(texts))
    assert con.execute("select unit_id from record.unit order by all").fetchall() == [("A 1",), ("A 2",), ("B 1",)]
    assert summary.rows_duplicate == 2


def test_a_unit_that_moves_keeps_one_history(exports, run_on):
    texts = {
        "vessel.csv": f"imo_number\n{VESSEL_A}\n{VESSEL_B}",
        "unit.csv": f"unit_id,imo_number,agent,made_on,in_service_on,removed_on,removal_reason\n"
        f"U1,{VESSEL_A},powder,2019-01-01,2020-01-01,2026-01-01,transferred\nU1,{VESSEL_B},powder,2019-01-01,2026-01-01,,",
        "a/service.csv": f"unit_id,imo_number,serviced_on,kind,outcome\nU1,{VESSEL_A},2025-06-01,annual_service,satisfactory",
        "b/inspection.csv": f"{HEAD}\nU1,{VESSEL_B},2026-02-01,satisfactory",
    }
    _, con = run_on(exports(texts))
    basis = con.execute(
        "select basis_on::varchar, due_on::varchar from duty.span where unit_id = 'U1' and duty = 'annual_service' and imo_number = $imo and done_on is null",
        {"imo": VESSEL_B},
    )
    assert basis.fetchall() == [("2025-06-01", "2026-06-01")]
    assert con.execute("select count(*) from intake.flag where rule = 'unit-on-two-vessels'").fetchone() == (0,)


def test_a_clock_set_back_does_not_turn_the_order_of_files(exports, run_on, small_fleet, tmp_path):
    from pipeline.intake.receive import receive_exports
    from pipeline.intake.store import Store

    folder = exports(small_fleet)
    store = Store(tmp_path / "store")
    first = receive_exports([folder], store, set(), datetime(2026, 5, 1, tzinfo=UTC))
    first.confirm(store)
    (folder / "vessel.csv").write_text(f"imo_number,vessel_name\n{VESSEL_A},Loud Heron\n")
    second = receive_exports([folder], store, set(), datetime(2001, 1, 1, tzinfo=UTC))
    second.confirm(store)
    assert any("clock" in note for note in second.notes)
    assert [file.version for file in second.ledger if file.path.endswith("vessel.csv")] == [1, 2]
    assert min(file.received_at for file in second.ledger) == "2026-05-01T00:00:00Z"
    _, con = run_on(folder)
    assert con.execute("select vessel_name from record.vessel").fetchall() == [("Loud Heron",)]


def test_a_version_declared_before_the_one_it_follows_still_counts_last(exports, run_on, small_fleet):
    folder = exports({**small_fleet, "received.csv": "path,received_at\nvessel.csv,2026-05-01"})
    run_on(folder)
    (folder / "vessel.csv").write_text(f"imo_number,vessel_name\n{VESSEL_A},Loud Heron\n")
    (folder / "received.csv").write_text("path,received_at\nvessel.csv,2026-04-01\n")
    summary, con = run_on(folder)
    assert any("before version 1" in note for note in summary.notes)
    assert con.execute("select vessel_name from record.vessel").fetchall() == [("Loud Heron",)]
