"""What a dialect can say, as small tables: the file, the dialect, the rows and the problems that come of it."""

from __future__ import annotations

import tomllib

import duckdb
import pytest

from pipeline.intake.convert import conversion_sql, unmatched_sql
from pipeline.intake.parse import load_records
from pipeline.intake.read_dialect import parse_dialect
from pipeline.intake.reader import read_records


@pytest.fixture
def con():
    con = duckdb.connect(config={"autoinstall_known_extensions": "false", "autoload_known_extensions": "false"})
    yield con
    con.close()


@pytest.fixture
def read(con, tmp_path):
    """Read bytes under a dialect; gives one list of row dicts a feed, nulls left out, and the broken records."""

    def call(data: bytes, dialect_text: str):
        dialect = parse_dialect(tomllib.loads(dialect_text))
        records = read_records(data, dialect, "round.csv")
        load_records(records, tmp_path / "records.csv", con)
        feeds = []
        for feed in dialect.feeds:
            sql, parameters = conversion_sql(feed, records.headers, dialect)
            result = con.execute(f"select * from ({sql}) order by record_no, item_no", parameters)
            names = [column[0] for column in result.description]
            feeds.append(
                [{name: value for name, value in zip(names, row, strict=True) if value is not None} for row in result.fetchall()]
            )
        unmatched = unmatched_sql(dialect, records.headers)
        lost = con.execute(*unmatched).fetchall() if unmatched else []
        return feeds, records.broken, lost

    return call


HEAD = 'name = "x"\nfiles = ["*"]\n'
INSPECTION = """
[[table]]
name = "inspection"
[table.columns]
unit_id = "Serial"
inspected_on = "Day"
outcome = { from = "Result", words = { "OK" = "satisfactory", "défaut" = "unsatisfactory" } }
"""


def test_semicolon_day_first_cp1252_with_head_and_foot(read):
    data = "MS Quiet Heron\r\nround\r\nSerial;Day;Result\r\nU1; 31.01.2026 ;ok\r\nU2;01.02.2026;Défaut\r\n2 rows\r\n\r\n".encode(
        "cp1252"
    )
    head = HEAD + 'encoding = "cp1252"\ndelimiter = ";"\ndate_formats = ["%d.%m.%Y"]\nskip_head = 2\nskip_foot = 1\n'
    (rows,), broken, _ = read(data, head + INSPECTION)
    assert [(row["unit_id"], str(row["inspected_on"]), row["outcome"], row["line_no"]) for row in rows] == [
        ("U1", "2026-01-31", "satisfactory", 4),
        ("U2", "2026-02-01", "unsatisfactory", 5),
    ]
    assert broken == []


@pytest.mark.parametrize(
    "encoding, mark", [("utf-8", b""), ("utf-8", b"\xef\xbb\xbf"), ("utf-16", b""), ("latin-1", b""), ("mac_roman", b"")]
)
def test_encodings_by_any_python_name(read, encoding, mark):
    text = "Serial,Day,Result\nÜ1,2026-01-31,défaut\n"
    (rows,), _, _ = read(mark + text.encode(encoding), HEAD + f'encoding = "{encoding}"\n' + INSPECTION)
    assert (rows[0]["unit_id"], rows[0]["outcome"]) == ("Ü1", "unsatisfactory")


@pytest.mark.parametrize(
    "cell, formats, expected",
    [
        ("2026-02-28", ["%Y-%m-%d"], "2026-02-28"),
        ("2026-02-29", ["%Y-%m-%d"], None),
        ("31/04/2026", ["%d/%m/%Y"], None),
        ("03/04/2026", ["%d/%m/%Y"], "2026-04-03"),
        ("03/04/2026", ["%m/%d/%Y"], "2026-03-04"),
        ("2026-04-03", ["%d.%m.%Y"], None),
        ("3-Apr-2026", ["%d.%m.%Y", "%d-%b-%Y"], "2026-04-03"),
        ("26-04-03", ["%Y-%m-%d"], None),
        ("2026-04-03 00:00", ["%Y-%m-%d"], None),
        ("tomorrow", ["%Y-%m-%d"], None),
        ("epoch", ["%Y-%m-%d"], None),
        ("infinity", ["%Y-%m-%d"], None),
    ],
)
def test_dates_read_by_the_dialects_formats_only(read, cell, formats, expected):
    (rows,), _, _ = read(f"Serial,Day,Result\nU1,{cell},ok\n".encode(), HEAD + f"date_formats = {formats!r}\n" + INSPECTION)
    if expected:
        assert str(rows[0]["inspected_on"]) == expected and "problems" not in rows[0]
    else:
        assert "inspected_on" not in rows[0]
        assert rows[0]["problems"] == [{"rule": "impossible-date", "column_name": "inspected_on", "value": cell}]


@pytest.mark.parametrize(
    "cell, marks, expected",
    [
        ("6.5", "", 6.5), ("6,5", "", None), ("6,5", 'decimal_mark = ","', 6.5), ("6.5", 'decimal_mark = ","', None),
        ("1.234,5", 'decimal_mark = ","\nthousands_mark = "."', 1234.5), ("1,234", 'thousands_mark = ","', 1234.0),
        ("1.23,5", 'decimal_mark = ","\nthousands_mark = "."', None), ("1 234", 'thousands_mark = " "', 1234.0),
        ("-3", "", -3.0), ("1e5", "", None), ("nan", "", None), ("inf", "", None), ("0x1F", "", None), ("6 kg", "", None),
        ("6.", "", None), (".5", "", None), ("007", "", 7.0),
    ],
)  # fmt: skip
def test_numbers_read_by_the_dialects_marks_only(read, cell, marks, expected):
    text = (
        HEAD + marks + '\ndelimiter = ";"\n[[table]]\nname = "service"\n[table.columns]\nunit_id = "Serial"\nmass_kg = "Mass"\n'
    )
    (rows,), _, _ = read(f"Serial;Mass\nU1;{cell}\n".encode(), text)
    assert rows[0].get("mass_kg") == expected
    assert [problem["rule"] for problem in rows[0].get("problems", [])] == ([] if expected is not None else ["not-a-number"])


@pytest.mark.parametrize(
    "column, unit, cell, expected",
    [
        # exact by definition: the international pound, inch, foot, US gallon (NIST SP 811, appendix B)
        ("mass_kg", "lb", "10", 4.5359237), ("mass_kg", "g", "4490", 4.49), ("wall_mm_measured", "in", "0.06", 1.524),
        ("throw_m", "ft", "10", 3.048), ("gauge_bar", "psi", "100", 6.894757), ("gauge_bar", "mpa", "1.5", 15.0),
        ("discharged_pct", "fraction", "0.95", 95.0), ("discharge_s", "min", "1.5", 90.0),
    ],
)  # fmt: skip
def test_units_convert(read, column, unit, cell, expected):
    text = HEAD + f'[[table]]\nname = "service"\n[table.columns]\n{column} = {{ from = "V", unit = "{unit}" }}\n'
    (rows,), _, _ = read(f"V\n{cell}\n".encode(), text)
    assert rows[0][column] == pytest.approx(expected, rel=1e-7)


def test_temperature_and_gallons(read):
    vessel = HEAD + '[[table]]\nname = "vessel"\n[table.columns]\nlowest_air_temp_c = { from = "T", unit = "F" }\n'
    assert read(b"T\n-4\n", vessel)[0][0][0]["lowest_air_temp_c"] == pytest.approx(-20)
    unit = HEAD + '[[table]]\nname = "unit"\n[table.columns]\ncharge_l = { from = "C", unit = "us_gal" }\n'
    assert read(b"C\n2.5\n", unit)[0][0][0]["charge_l"] == pytest.approx(9.46352946)


def test_null_words_are_none_by_default(read):
    text = HEAD + '{}[[table]]\nname = "service"\n[table.columns]\nunit_id = "Serial"\nprovider = "Firm"\nmass_kg = "Mass"\n'
    data = b"Serial,Firm,Mass\nU1,NA,n/a\n"
    assert read(data, text.format(""))[0][0][0]["provider"] == "NA"
    assert "mass_kg" in str(read(data, text.format(""))[0][0][0]["problems"])
    (rows,), _, _ = read(data, text.format('null_words = ["na", "N/A"]\n'))
    assert "provider" not in rows[0] and "problems" not in rows[0]


def test_precision_follows_the_format_that_reads(read):
    text = HEAD + (
        '[[table]]\nname = "unit"\n[table.columns]\n'
        'made_on = { from = "Made", formats = ["%Y-%m-%d", "%m/%Y", "%Y"], precision_into = "made_on_precision" }\n'
    )
    (rows,), _, _ = read(b"Made\n2015-03-07\n03/2015\n2015\n\n,\n".replace(b",\n", b""), text)
    assert [(str(row["made_on"]), row["made_on_precision"]) for row in rows] == [
        ("2015-03-07", "day"), ("2015-03-01", "month"), ("2015-01-01", "year"),
    ]  # fmt: skip


def test_one_record_feeds_two_tables_by_kind(read):
    text = (
        HEAD
        + """
        [[table]]
        name = "inspection"
        when = { column = "Kind", is = ["Check"] }
        [table.columns]
        unit_id = { from = "Serial", prefix = "BRK-" }
        imo_number = { constant = "9999993" }
        inspected_on = "Day"
        [[table]]
        name = "service"
        when = { column = "Kind", is = ["service", "test"] }
        [table.columns]
        unit_id = { from = "Serial", prefix = "BRK-" }
        serviced_on = "Day"
        kind = { from = "Kind", words = { "service" = "annual_service", "test" = "pressure_test" } }
    """
    )
    data = b"Kind,Serial,Day\nCHECK,1,2026-01-01\nTest,2,2026-01-02\nDance,3,2026-01-03\n"
    (checks, services), _, lost = read(data, text)
    assert [(row["unit_id"], row["imo_number"], row["record_no"]) for row in checks] == [("BRK-1", "9999993", 1)]
    assert [(row["unit_id"], row["kind"], row["record_no"]) for row in services] == [("BRK-2", "pressure_test", 2)]
    assert [item[:3] for item in lost] == [(3, 4, "Dance")]


WIDE = """
    [[table]]
    name = "finding"
    [table.columns]
    unit_id = "Serial"
    found_on = "Day"
    found_by = { constant = "inspection" }
    [table.wide]
    into = "component"
    columns = { "Hose" = "hose", "Safety pin" = "pin" }
    none_words = ["ok", "/"]
    [table.wide.cells]
    "rust" = { defect = "corrosion", severity = "minor", rust_grade = "Ri2" }
    "gone" = { defect = "missing", severity = "unfit" }
"""


def test_wide_check_list_makes_a_row_a_finding(read):
    data = b"Serial,Day,Hose,Safety pin\nU1,2026-01-01,OK,ok\nU2,2026-01-01,Rust,gone\nU3,2026-01-01,,funny\n"
    (rows,), _, _ = read(data, HEAD + WIDE)
    assert [(r["unit_id"], r["component"], r.get("defect"), r.get("severity"), r.get("rust_grade")) for r in rows] == [
        ("U2", "hose", "corrosion", "minor", "Ri2"),
        ("U2", "pin", "missing", "unfit", None),
        ("U3", "pin", None, None, None),
    ]
    assert rows[2]["problems"] == [{"rule": "unknown-word", "column_name": "defect", "value": "funny"}]
    assert all(row["found_by"] == "inspection" for row in rows)


@pytest.mark.parametrize(
    "body, good, broken",
    [
        ("U1,2026-01-01,ok\nU2,2026-01-02\nU3,2026-01-03,ok\n", [1, 3], [(2, 3, "ragged-record")]),
        ("U1,2026-01-01,ok\nU2,2026-01-02,ok,extra\n", [1], [(2, 3, "ragged-record")]),
        ('U1,2026-01-01,"ok\nU2,2026-01-02,ok\nU3,2026-01-03,ok\n', [2, 3], [(1, 2, "unclosed-quote")]),
        ('U1,2026-01-01,"ok"x\nU2,2026-01-02,ok\n', [2], [(1, 2, "unclosed-quote")]),
        ('U1,2026-01-01,"ok\nU2,2026-01-02,ok\nU3,"2026-01-03",ok\n', [2, 3], [(1, 2, "unclosed-quote")]),
        ('U1,2026-01-01,"ok\nU2,2026-01-02,ok\nU3,2026-01-03,"\n', [2], [(1, 2, "unclosed-quote"), (3, 4, "unclosed-quote")]),
        ("U1,2026-01-01,ok\n\n \nU2,2026-01-02,ok\n,,\n", [1, 3], [(2, 4, "ragged-record")]),
    ],
)
def test_a_broken_record_costs_its_own_line_only(read, body, good, broken):
    (rows,), found, _ = read(b"Serial,Day,Result\n" + body.encode(), HEAD + INSPECTION)
    assert [row["record_no"] for row in rows] == good
    assert [(item.record_no, item.line_no, item.rule) for item in found] == broken


def test_a_quoted_line_break_keeps_record_and_line_apart(read):
    data = b'Serial,Day,Result\r\n"U\r\n1",2026-01-01,ok\r\nU2,2026-01-02,ok\r\n'
    (rows,), broken, _ = read(data, HEAD + INSPECTION)
    assert [(row["unit_id"], row["record_no"], row["line_no"]) for row in rows] == [("U\r\n1", 1, 2), ("U2", 2, 4)]
    assert broken == []


def test_identifiers_stay_text(read):
    (rows,), _, _ = read(b"Serial,Day,Result\n007,2026-01-01,ok\n1e5,2026-01-01,ok\n0x10,2026-01-01,ok\n", HEAD + INSPECTION)
    assert [row["unit_id"] for row in rows] == ["007", "1e5", "0x10"]


def test_a_cell_under_no_header_is_not_dropped(read):
    (rows,), broken, _ = read(b"Serial,Day,Result,\nU1,2026-01-01,ok,\nU2,2026-01-01,ok,secret\n", HEAD + INSPECTION)
    assert [row["unit_id"] for row in rows] == ["U1"]
    assert [(item.record_no, item.rule) for item in broken] == [(2, "ragged-record")]


def test_more_foot_lines_than_lines(read):
    from pipeline.errors import UserError

    with pytest.raises(UserError, match="empty"):
        read(b"Serial,Day,Result\nU1,2026-01-01,ok\n", HEAD + "skip_foot = 99\n" + INSPECTION)


@pytest.mark.parametrize("cell, expected", [("true", True), ("FALSE", False), ("", False), ("yes", None), ("1", None)])
def test_a_boolean_that_can_not_be_read_is_not_its_default(read, cell, expected):
    text = HEAD + '[[table]]\nname = "unit"\n[table.columns]\nunit_id = "S"\nis_spare = "Spare"\n'
    (rows,), _, _ = read(f"S,Spare\nU1,{cell}\n".encode(), text)
    assert rows[0].get("is_spare") is expected
    assert [p["rule"] for p in rows[0].get("problems", [])] == (["not-a-boolean"] if expected is None else [])


def test_an_unknown_check_list_word_is_named_whatever_the_order_of_its_columns(read):
    text = HEAD + FIXED_DEFECT
    (rows,), _, _ = read(b"Serial,Day,Hose\nU1,2026-01-01,gnarled\n", text)
    assert [(p["rule"], p["column_name"], p["value"]) for p in rows[0]["problems"]] == [("unknown-word", "defect", "gnarled")]


FIXED_DEFECT = """
    [[table]]
    name = "finding"
    [table.columns]
    unit_id = "Serial"
    found_on = "Day"
    defect = { constant = "other" }
    [table.wide]
    into = "component"
    columns = { "Hose" = "hose" }
    [table.wide.cells]
    "rust" = { action = "brushed", rusted_area_pct = 5, defect = "corrosion" }
"""


def test_an_integer_too_large_is_not_a_number(read):
    text = HEAD + '[[table]]\nname = "vessel"\n[table.columns]\ngross_tonnage = "GT"\n'
    (rows,), _, _ = read(b"GT\n99999999999999999999\n", text)
    assert [p["rule"] for p in rows[0]["problems"]] == ["not-a-number"]


def test_a_very_long_field_is_one_field(read):
    (rows,), broken, _ = read(b"Serial,Day,Result\n" + b"U" * 300_000 + b",2026-01-01,ok\n", HEAD + INSPECTION)
    assert len(rows[0]["unit_id"]) == 300_000 and broken == []


def test_a_record_beyond_all_reason_is_put_aside(read):
    (rows,), broken, _ = read(
        b"Serial,Day,Result\n" + b"U" * 5_000_000 + b",2026-01-01,ok\nU2,2026-01-01,ok\n", HEAD + INSPECTION
    )
    assert [row["unit_id"] for row in rows] == ["U2"]
    assert [item.record_no for item in broken] == [1] and len(broken[0].value) <= 2_000


def test_a_repeated_header_and_total_rows_are_no_records(read):
    data = b"Serial,Day,Result\nU1,2026-01-01,ok\nSerial,Day,Result\nU2,2026-01-02,ok\nTotal,2\nSum of all: 2,,\nTotally,2026-01-03,ok\n"
    keys = 'repeated_header = true\ntotal_rows = [{ column = "Serial", is = ["TOTAL"], begins = ["sum "] }]\n'
    (rows,), broken, _ = read(data, HEAD + keys + INSPECTION)
    assert [(row["unit_id"], row["record_no"], row["line_no"]) for row in rows] == [("U1", 1, 2), ("U2", 3, 4), ("Totally", 6, 7)]
    assert broken == []
    (rows,), broken, _ = read(data, HEAD + INSPECTION)
    assert len(rows) == 5 and [item.rule for item in broken] == ["ragged-record"], "without the keys nothing is left out"


def test_headers_words_and_cells_meet_in_composed_form(read):
    """Canonically equivalent texts are one text: Unicode Standard Annex 15, figure 3 (A with ring, o with circumflex; from memory)."""
    text = HEAD + INSPECTION.replace('"Serial"', '"Ge\u0072a\u0308t"').replace("défaut", "de\u0301faut")
    (rows,), _, _ = read(
        "Gerät,Day,Result\n\u212b1,2026-01-01,de\u0301faut\no\u0302,2026-01-01,défaut\n\ufb01,2026-01-01,ok\n".encode(), text
    )
    assert [(row["unit_id"], row["outcome"]) for row in rows] == [
        ("\u00c51", "unsatisfactory"),
        ("\u00f4", "unsatisfactory"),
        ("\ufb01", "satisfactory"),
    ]
    assert "problems" not in rows[0]


@pytest.mark.parametrize("encoding", ["cp1252", "latin-1", "mac_roman", "cp437"])
def test_utf_8_is_not_read_as_one_byte_a_character(read, encoding):
    from pipeline.errors import UserError

    with pytest.raises(UserError, match="is UTF-8 text"):
        read("Serial,Day,Result\nÜ1,2026-01-01,ok\n".encode(), HEAD + f'encoding = "{encoding}"\n' + INSPECTION)
    (rows,), _, _ = read(
        "Serial,Day,Result\nÜ1,2026-01-01,ok\n".encode(encoding), HEAD + f'encoding = "{encoding}"\n' + INSPECTION
    )
    assert rows[0]["unit_id"] == "Ü1"


BOTH = 'date_formats = ["%d/%m/%Y", "%m/%d/%Y"]\n'


@pytest.mark.parametrize(
    "cells, expected",
    [
        (["13/02/2026", "03/04/2026"], ["2026-02-13", "2026-04-03"]),
        (["02/13/2026", "03/04/2026"], ["2026-02-13", "2026-03-04"]),
        (["05/05/2026", "06/06/2026"], ["2026-05-05", "2026-06-06"]),
        (["", "13/02/2026"], [None, "2026-02-13"]),
        (["03/04/2026", "05/06/2026"], "2026-04-03 or as 2026-03-04"),
        (["13/02/2026", "02/13/2026", "03/04/2026"], "2026-04-03 or as 2026-03-04"),
    ],
)
def test_day_or_month_first_is_settled_by_the_column_or_asked_for(exports, run_on, small_fleet, cells, expected):
    from pipeline.errors import UserError

    lines = [f"{n},9999993,{cell}" for n, cell in enumerate(cells)]
    dialect = (
        'name = "d"\nfiles = ["log.csv"]\n'
        + BOTH
        + '[[table]]\nname = "unit"\n[table.columns]\nunit_id = "No"\nimo_number = "IMO"\nmade_on = "Made"\n'
    )
    folder = exports({**small_fleet, "log.csv": "\n".join(["No,IMO,Made", *lines]), "dialects/d.toml": dialect})
    if isinstance(expected, str):
        with pytest.raises(UserError, match=expected) as caught:
            run_on(folder)
        assert caught.value.slug == "day-or-month" and "'Made'" in str(caught.value) and "03/04/2026" in str(caught.value)
        return
    _, con = run_on(folder)
    found = con.execute("select made_on::varchar from record.unit where unit_id in ('0', '1', '2') order by unit_id").fetchall()
    assert [day for (day,) in found] == expected


def test_a_file_of_quotes_that_never_close_is_refused_in_time(read):
    """Each line leaves a quote open and closes one: read naively, every line would be read to the end of the file."""
    from pipeline.errors import UserError

    with pytest.raises(UserError, match="quotation marks are not closed"):
        read(b"Serial,Day,Result\n" + b'x","y\n' * 100_000, HEAD + INSPECTION)


def test_a_million_columns_are_refused(read):
    from pipeline.errors import UserError

    for count, why in [(100_000, "100,000 columns"), (1_000_000, "more than 1,000,000 characters")]:
        with pytest.raises(UserError, match=why):
            read(b",".join([b"c"] * count) + b"\n1\n", HEAD + INSPECTION)


def test_more_broken_records_than_anyone_could_mend_are_refused(read):
    from pipeline.errors import UserError

    with pytest.raises(UserError, match="do not fit its header"):
        read(b"Serial,Day,Result\n" + b"1\n" * 200_000, HEAD + INSPECTION)


def test_months_in_the_sources_own_language(read):
    text = (
        HEAD + 'date_formats = ["%d. %b %Y", "%b %Y"]\nmonths = { "Mär." = 3, "März" = 3, "mai" = 5, "Dez" = 12 }\n' + INSPECTION
    )
    data = "Serial,Day,Result\nU1,1. März 2026,ok\nU2,02. mär. 2026,ok\nU3,3. MAI 2026,ok\nU4,Dez. 2025,ok\nU5,4. Jan 2026,ok\nU6,4. Lenz 2026,ok\n"
    (rows,), _, _ = read(data.encode(), text)
    assert [str(row.get("inspected_on")) for row in rows] == [
        "2026-03-01",
        "2026-03-02",
        "2026-05-03",
        "2025-12-01",
        "2026-01-04",
        "None",
    ]
    assert rows[5]["problems"][0] == {"rule": "impossible-date", "column_name": "inspected_on", "value": "4. Lenz 2026"}


def test_the_month_is_found_among_other_words(read):
    text = (
        HEAD
        + 'date_formats = ["lundi %d %b %Y", "%der %b %Y", "martes %d %b %Y"]\nmonths = { "août" = 8, "mar" = 3 }\n'
        + INSPECTION
    )
    (rows,), _, _ = read(
        "Serial,Day,Result\nU1,lundi 3 août 2026,ok\nU2,1er août 2026,ok\nU3,martes 3 mar. 2026,ok\n".encode(), text
    )
    assert [str(row.get("inspected_on")) for row in rows] == ["2026-08-03", "2026-08-01", "2026-03-03"]


def test_a_word_that_means_nothing_is_an_empty_cell(read):
    text = HEAD + INSPECTION.replace('unit_id = "Serial"', 'unit_id = { from = "Serial", words = { "none" = "" } }')
    (rows,), _, _ = read(b"Serial,Day,Result\nnone,2026-01-01,ok\n", text)
    assert "unit_id" not in rows[0]


def test_numbers_that_carry_their_unit(read):
    """International pound 0.45359237 kg, US gallon 3.785411784 l: exact by definition (from memory)."""
    columns = """
        charge_kg = { from = "Size", suffixes = { "kg" = "kg", "Lbs" = "lb" } }
        charge_l = { from = "Size", suffixes = { "L" = "l", "US gal" = "us_gal" } }
        test_pressure_bar = { from = "Test", unit = "bar", suffixes = { "psi" = "psi", "kgf/cm2" = "kgf_cm2" } }"""
    text = HEAD + 'decimal_mark = ","\n[[table]]\nname = "unit"\n[table.columns]\n' + columns
    cells = ["6 kg|25", "9 L|25,5 psi", "2,5US gal|20 kgf/cm2", "10lbs|", "6|x bar", "6 stone|25 bar"]
    (rows,), _, _ = read(
        ("Size|Test\n" + "\n".join(cells)).encode(), text.replace("decimal_mark", 'delimiter = "|"\ndecimal_mark')
    )
    found = [
        tuple(round(row[name], 6) if name in row else None for name in ("charge_kg", "charge_l", "test_pressure_bar"))
        for row in rows
    ]
    assert found == [
        (6.0, None, 25.0),
        (None, 9.0, 1.758163),
        (None, 9.463529, 19.6133),
        (4.535924, None, None),
        (None, None, None),
        (None, None, None),
    ]
    problems = [[(item["column_name"], item["value"]) for item in row.get("problems", [])] for row in rows]
    assert problems[:4] == [[], [], [], []]
    assert problems[4] == [("charge_l", "6"), ("charge_kg", "6"), ("test_pressure_bar", "x bar")]
    assert problems[5] == [("charge_l", "6 stone"), ("charge_kg", "6 stone"), ("test_pressure_bar", "25 bar")]


@pytest.mark.parametrize("encoding, cell", [("utf-7", b"+2AA-"), ("raw_unicode_escape", b"\\ud800")])
def test_half_a_character_is_no_text(read, encoding, cell):
    from pipeline.errors import UserError

    with pytest.raises(UserError, match="halves of characters"):
        read(b"Serial,Day,Result\n" + cell + b",2026-01-01,ok\n", HEAD + f'encoding = "{encoding}"\n' + INSPECTION)


def test_a_file_without_its_usual_foot_loses_no_record(read):
    head = HEAD + "skip_foot = 2\n" + INSPECTION
    (rows,), broken, _ = read(b"Serial,Day,Result\nU1,2026-01-01,ok\nU2,2026-01-01,ok\nSum,2,\nsigned,,\n", head)
    assert [row["unit_id"] for row in rows] == ["U1", "U2"] and [item.rule for item in broken] == ["record-in-foot"]
    (rows,), broken, _ = read(b"Serial,Day,Result\nU1,2026-01-01,ok\nU2,2026-01-01,ok\n2 rows\n\nsigned,,\n\n", head)
    assert len(rows) == 2 and broken == []
    (rows,), broken, _ = read(b"Serial,Day,Result\nU1,2026-01-01,ok\n\nU2,2026-01-01,ok\nU3,2026-01-01,ok\n", head)
    assert [row["unit_id"] for row in rows] == ["U1"]
    assert [(item.rule, item.record_no, item.line_no) for item in broken] == [("record-in-foot", 2, 4), ("record-in-foot", 3, 5)]
