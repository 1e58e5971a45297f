"""The clean path gives what the reader gives: the same records, numbers, cells, broken lines and counts, on files of every kind."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.errors import UserError
from pipeline.intake import plain as plain_lines
from pipeline.intake.cell import BLANKS
from pipeline.intake.parse import load_plain, load_records
from pipeline.intake.plain import read_plain, read_raw
from pipeline.intake.read_dialect import canonical_dialect
from pipeline.intake.reader import read_records

HEADER = "imo_number,vessel_name,flag\n"
PIECES = st.sampled_from(
    ["a,b,c", "1,2,3", ",,", " , ,\t", "\u00a0,\u2003,", "", "   ", "a,b", "a,b,c,d", '"a","b,b",c', '"a""b",,x', 'x"y,z,', '"open,b,c',
     'closed",b,c', " a , b ,c\u00a0", "é,ü,\u2028x", ",b,", ",,\ufeff", "a,b,c\r", "\ra,b,c", "'a',\\,\\N", "NULL,null,nan", "#a,b,c", "a,\x0b,\x1c"]
)  # fmt: skip
CELL = st.text(st.characters(codec="utf-8", exclude_characters='\0"\r\n,'), max_size=6)
LINE = PIECES | st.tuples(CELL, CELL, CELL).map(",".join)
QUIET = settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=150, derandomize=True)


@pytest.fixture
def small_pieces(monkeypatch):
    """Files of a few lines are cut too, and other lines are no reason to leave the clean path."""
    monkeypatch.setattr(plain_lines, "PIECE", 24)
    monkeypatch.setattr(plain_lines, "MOST_OTHERS", 2.0)


def read_both(data: bytes, dialect, tmp_path, con):
    """Rows, broken records and count by the reader and by the clean path, None where that leaves the file to the reader."""
    slow = read_records(data, dialect, "vessel.csv")
    load_records(slow, tmp_path / "records.csv", con)
    expected = con.execute("select * from source_record order by record_no").fetchall(), slow.broken, slow.count
    records = read_records(data, dialect, "vessel.csv")
    plain = read_plain(data, dialect, records, "vessel.csv")
    if plain is None:
        return expected, None, None
    trimmed, pieces = plain.is_trimmed, list(plain.pieces)
    load_plain(plain, records, tmp_path, dialect.delimiter, con)
    found = con.execute("select * from source_record order by record_no").fetchall()
    plain.pieces += pieces
    source = load_plain(plain, records, tmp_path, dialect.delimiter, con, is_read_once=True)
    assert con.execute(f"select * from {source} order by record_no").fetchall() == found
    return expected, (found, records.broken, records.count), trimmed


@QUIET
@given(st.lists(LINE, max_size=30), st.sampled_from(["\n", "\r\n"]), st.booleans(), st.sampled_from(["", "\ufeff"]))
def test_the_clean_path_gives_the_records_of_the_reader(tmp_path, con, small_pieces, lines, end, is_ended, mark):
    text = mark + HEADER.replace("\n", end) + end.join(lines) + (end if is_ended else "")
    expected, found, is_trimmed = read_both(text.encode(), canonical_dialect("vessel"), tmp_path, con)
    if found is not None:
        assert found == expected
        if is_trimmed:
            assert all(cell == cell.strip(BLANKS) for row in found[0] for cell in row[2:])


@QUIET
@given(st.lists(LINE, min_size=1, max_size=30))
def test_quarantined_records_are_found_again(small_pieces, lines):
    data = (HEADER + "\n".join(lines) + "\n").encode()
    dialect = canonical_dialect("vessel")
    slow = read_records(data, dialect, "vessel.csv")
    names = slow.headers
    rows = list(slow.rows)
    expected = {number: dict(zip(names, cells, strict=True)) for number, _, cells in rows}
    expected |= {item.record_no: dict.fromkeys(names, "") | {"(line)": item.value} for item in slow.broken}
    place = {number: line_no for number, line_no, _ in rows} | {item.record_no: item.line_no for item in slow.broken}
    for wanted in (place, {number: place[number] for number in list(place)[::3]}):
        assert dict(read_raw(data, dialect, "vessel.csv", wanted)) == {number: expected[number] for number in wanted}


@pytest.mark.parametrize("encoding", ["utf-8", "cp1252", "utf-16", "latin-1"])
@pytest.mark.parametrize("skip_head", [0, 2])
def test_other_encodings_and_lines_before_the_header(tmp_path, con, encoding, skip_head):
    text = "of the office\n\n" * (skip_head // 2) + HEADER + "".join(f"{n},Ünter {n},XA\n" for n in range(400)) + "a,b\n"
    dialect = replace(canonical_dialect("vessel"), encoding=encoding, skip_head=skip_head)
    expected, found, _ = read_both(text.encode(encoding), dialect, tmp_path, con)
    assert found == expected and found[2] == 401 and len(found[1]) == 1


def test_a_clean_file_takes_the_clean_path_and_one_with_open_quotes_does_not(tmp_path, con):
    clean = (HEADER + "1,Quiet Heron,XA\n" * 1000).encode()
    assert read_both(clean, canonical_dialect("vessel"), tmp_path, con)[1] is not None
    quoted = (HEADER + '1,"Quiet\nHeron",XA\n' * 10).encode()
    assert read_both(quoted, canonical_dialect("vessel"), tmp_path, con)[1] is None


def test_too_many_broken_lines_are_refused_as_the_reader_does(monkeypatch, small_pieces):
    monkeypatch.setattr(plain_lines, "MOST_BROKEN", 3)
    data = (HEADER + "a,b\n" * 4 + "a,b,c\n" * 100).encode()
    dialect = canonical_dialect("vessel")
    with pytest.raises(UserError) as error:
        read_plain(data, dialect, read_records(data, dialect, "vessel.csv"), "vessel.csv")
    assert error.value.slug == "not-csv"
