"""Whatever is in a file, nothing is lost and nothing is changed on the way into the database."""

from __future__ import annotations

import csv
import io

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.intake.lines import read_lines
from pipeline.intake.parse import load_records
from pipeline.intake.read_dialect import canonical_dialect
from pipeline.intake.reader import Records, read_records

CELL = st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=12)
AWKWARD = st.sampled_from(['"', '""', ",", "\n", "\r", "\r\n", " ", "", "\\", "'", "\ufeff", "\u2028", "\x0b", "NULL", "a\\\nb"])
QUIET = settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60, derandomize=True)


@QUIET
@given(st.lists(st.tuples(CELL | AWKWARD, CELL | AWKWARD, CELL | AWKWARD), min_size=1, max_size=20))
def test_cells_arrive_as_they_were(tmp_path, con, rows):
    records = Records(["a", "b", "c"], iter([(n, n, list(row)) for n, row in enumerate(rows, start=1)]))
    load_records(records, tmp_path / "records.csv", con)
    assert con.execute("select c0, c1, c2 from source_record order by record_no").fetchall() == rows


@QUIET
@given(st.lists(st.tuples(CELL | AWKWARD, CELL | AWKWARD), max_size=20), st.sampled_from(["\n", "\r\n"]))
def test_a_well_formed_file_gives_the_records_of_a_csv_reader(rows, end):
    """Record numbers and cells are those of Python's reader; only rows that say nothing at all are passed over."""
    stream = io.StringIO(newline="")
    csv.writer(stream, lineterminator=end, quoting=csv.QUOTE_ALL).writerows([("imo_number", "vessel_name"), *rows])
    text = stream.getvalue()
    expected = [
        (number, list(row))
        for number, row in enumerate((r for r in list(csv.reader(io.StringIO(text, newline="")))[1:] if r), start=1)
        if any(cell.strip() for cell in row)
    ]
    records = read_records(text.encode("utf-8"), canonical_dialect("vessel"), "vessel.csv")
    assert [(number, cells) for number, _, cells in records.rows] == expected
    assert records.broken == []


@QUIET
@given(st.lists(CELL | AWKWARD | st.sampled_from(["9999993,A", '9999993,"A', 'x"y,z', "1,2,3"]), max_size=25))
def test_every_line_of_a_broken_file_is_in_a_record_or_named_as_broken(lines):
    """No text is swallowed: each physical line belongs to a good record, is the start of a broken one, or is blank."""
    text = "imo_number,vessel_name\n" + "\n".join(lines) + "\n"
    physical = list(read_lines(text.encode("utf-8"), "utf-8"))
    records = read_records(text.encode("utf-8"), canonical_dialect("vessel"), "vessel.csv")
    covered = {1}
    count = 0
    for _, line_no, cells in records.rows:
        span = sum(cell.count("\n") + cell.replace("\r\n", "").count("\r") for cell in cells) + 1
        covered |= set(range(line_no, line_no + span))
        count += 1
    for item in records.broken:
        covered.add(item.line_no)
    silent = [line for number, line in enumerate(physical, start=1) if number not in covered]
    assert [line for line in silent if line.replace(",", "").replace('"', "").strip()] == []
    assert records.count >= count + len(records.broken)
