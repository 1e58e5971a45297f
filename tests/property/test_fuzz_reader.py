"""Anything at all through the reader: one sentence, or every physical line in its place; bounded steps and memory.

20,000 files of up to 1,000 bytes in the default run, 1,000,000 marked slow (about 80 s): random
bytes, random picks of awkward pieces, and mutations of well-formed files, read by eight dialects in turn. Time is told in steps,
not seconds: the lines and characters that `LineSource` hands to the CSV reader.
"""

from __future__ import annotations

import random
import re
import tracemalloc
from dataclasses import replace

import pytest

from pipeline.errors import UserError
from pipeline.intake import lines as lines_module
from pipeline.intake import reader
from pipeline.intake.dialect import TotalRow
from pipeline.intake.lines import LineSource
from pipeline.intake.read_dialect import canonical_dialect
from pipeline.intake.reader import read_records
from pipeline.intake.sheet import read_sheet_form

REFUSALS = {"no-data-in-file", "wrong-encoding", "garbled-encoding", "not-csv", "header-mismatch"}
VESSEL, UNIT = canonical_dialect("vessel"), canonical_dialect("unit")
DIALECTS = [
    VESSEL,
    UNIT,
    replace(VESSEL, delimiter=";", encoding="cp1252", skip_head=1, skip_foot=2),
    replace(VESSEL, delimiter="\t", encoding="utf-16"),
    replace(VESSEL, encoding="latin-1", skip_foot=1),
    replace(UNIT, delimiter="|", has_repeated_header=True),
    replace(VESSEL, delimiter=" ", total_rows=(TotalRow("imo_number", ("total",), ("sum ",)),)),
    replace(VESSEL, delimiter="'", encoding="shift_jis"),
]
PIECES = [
    '"', '""', '"""', "D", 'D"', '"D"', 'a"D"b', "\n", "\r", "\r\n", "\n\n", " ", "", "\\", "'", "\ufeff", "\u2028", "\x0b", "\x1c",
    "\x85", "\xa0", "\x1a", "total", "sum x", "9999993", "9999993DA", "é", "ü", "\U0001f600", "=1+1", "firekpi row", "firekpi reason",
    "firekpi file and line", "0123456789ab:1", "x" * 30, "imo_numberDvessel_name", "unit_idDimo_numberDagent", "DDDD",
]  # fmt: skip
HEADERS = {"vessel": "imo_numberDvessel_name", "unit": "unit_idDimo_numberDagentDmade_on"}


def draw_file(rng: random.Random, dialect) -> bytes:
    """Random bytes, awkward pieces after a good header, or a good file with a few bytes changed."""
    kind = rng.random()
    if kind < 0.1:
        return rng.randbytes(rng.randint(0, 200))
    table = dialect.feeds[0].table
    head = "head\n" * dialect.skip_head + HEADERS[table] + rng.choice(["\n", "\r\n", "\r", "D\n", "\n\n"])
    if rng.random() < 0.05:
        head = head.rstrip("\r\n") + "Dfirekpi reasonDfirekpi file and lineDfirekpi row\n"
    body = (
        rng.choices(PIECES, k=rng.randint(0, 40)) if kind < 0.6 else ["9999993DQuiet HeronDco2D2020-01-01\n"] * rng.randint(0, 9)
    )
    text = (head + "".join(body)).replace("D", dialect.delimiter)
    data = bytearray(text.encode(dialect.encoding, "ignore"))
    for _ in range(rng.choice([0, 0, 1, 3]) if kind < 0.6 else rng.randint(1, 8)):
        place = rng.randrange(len(data) + 1)
        data[place : place + rng.choice([0, 1, 1, 4])] = rng.choice(
            [b'"', b"\n", b"\r", b"", b"\0", b"\xff", b",", b";", rng.randbytes(2)]
        )
    return bytes(data)


@pytest.fixture
def steps(monkeypatch):
    """Counts what is handed to the CSV reader: [lines, characters]."""
    counted = [0, 0]

    class Counting(LineSource):
        def __next__(self) -> str:
            line = super().__next__()
            counted[0] += 1
            counted[1] += len(line)
            return line

    monkeypatch.setattr(reader, "LineSource", Counting)
    return counted


def read_through(data: bytes, dialect) -> tuple[str, dict]:
    """The slug of the refusal and {}, or "" and what each physical line became."""
    try:
        records = read_records(data, dialect, "x.csv")
        rows = list(records.rows)
    except UserError as error:
        return error.slug, {}
    fate: dict[int, list[str]] = {}
    for _, line_no, cells in rows:
        last = line_no + sum(len(re.findall("\r\n|\r|\n", cell)) for cell in cells)
        for number in range(line_no, last + 1):
            fate.setdefault(number, []).append("row")
    for item in records.broken:
        last = item.line_no + (len(re.findall("\r\n|\r|\n", item.value)) if item.rule == "ragged-record" else 0)
        for number in range(item.line_no, last + 1):
            fate.setdefault(number, []).append("broken")
    numbers = [number for number, _, _ in rows] + [item.record_no for item in records.broken]
    assert len(set(numbers)) == len(numbers) and all(1 <= number <= records.count for number in numbers)
    return "", {
        "fate": fate,
        "count": records.count,
        "skipped": records.lines_skipped,
        "headers": records.headers,
        "rows": len(numbers),
    }


def check_lines(data: bytes, dialect, found: dict) -> None:
    """Our own split into lines: each is in one record, broken, blank, the header's, or among those counted as skipped."""
    form = read_sheet_form(data, dialect)  # what looks like a sheet is read as it was saved
    dialect = form or dialect
    text = data.decode(dialect.encoding)
    lines = re.findall("[^\r\n]*(?:\r\n|\r|\n)|[^\r\n]+", text.removeprefix("\ufeff"))
    assert all(len(fates) == 1 for fates in found["fate"].values())
    assert set(found["fate"]) <= set(range(2, len(lines) + 1))
    first = min(found["fate"], default=len(lines) + 1)
    unseen = [line for number, line in enumerate(lines, start=1) if number not in found["fate"]]
    said = [line for line in unseen if line.replace(dialect.delimiter, "").replace('"', "").strip()]
    header_lines = 1 + sum(header.count("\n") + header.count("\r") for header in found["headers"])
    # Such records are counted and not lines; so are rows of a sheet of which nothing was filled in but our own columns.
    repeated = dialect.has_repeated_header or dialect.total_rows or form
    assert len(said) <= header_lines + found["skipped"] or repeated, (said, first)
    assert found["rows"] + found["skipped"] >= len(said) - header_lines - found["rows"] or repeated
    if not repeated:
        assert found["rows"] <= found["count"] <= len(lines)


def fuzz(seed: int, count: int, steps: list[int]) -> dict[str, int]:
    rng = random.Random(seed)
    ends: dict[str, int] = {}
    for number in range(count):
        dialect = DIALECTS[number % len(DIALECTS)]
        data = draw_file(rng, dialect)
        steps[:] = [0, 0]
        slug, found = read_through(data, dialect)
        ends[slug] = ends.get(slug, 0) + 1
        assert slug in REFUSALS or not slug, (seed, number, data)
        # Even the worst of files this small is read again once a line at most.
        assert steps[0] <= (len(data) + 2) ** 2 // 2 + 2, (seed, number, data)
        if not slug:
            try:
                check_lines(data, dialect, found)
            except AssertionError as error:
                raise AssertionError(f"seed {seed}, file {number}, dialect {number % len(DIALECTS)}: {data!r}") from error
    return ends


def test_twenty_thousand_files(steps):
    ends = fuzz(1, 20_000, steps)
    assert ends[""] > 6_000 and all(ends.get(slug, 0) > 3 for slug in REFUSALS), ends


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(2, 52))
def test_a_million_files(steps, seed):
    assert fuzz(seed, 20_000, steps)[""] > 6_000


HEAD = "imo_number,vessel_name\n"


@pytest.mark.parametrize(
    "line, most",
    [
        ('9999993,"Quiet\n', 3),  # closes the one before
        ('a","b\n', None),  # closes and opens: each record would read to the end of the file
        ('"\n', 3),
        ('"a""b\n', 3),
        ('9999993,"Q""\n', 3),
        (',"\r', 3),
    ],
)
def test_quotes_in_every_line_cost_bounded_steps(steps, monkeypatch, line, most):
    """`most`: lines handed out for each line of the file; None: such a file is refused when too much was read again."""
    count = 2_000
    monkeypatch.setattr(lines_module, "MOST_REREAD", 400_000)
    slug, found = read_through((HEAD + line * count).encode(), VESSEL)
    if most is None:
        assert slug == "not-csv" and steps[1] <= 400_000 + 2 * len(line) * count
    else:
        assert slug == "" and found["rows"] >= count // 2 - 1 and steps[0] <= most * count


@pytest.mark.slow
def test_reading_holds_little_more_than_the_bytes(steps):
    """6 MB of rows are read in the memory of a piece of them."""
    data = (HEAD + "9999993,Quiet Heron\n" * 300_000).encode()
    tracemalloc.start()
    rows = sum(1 for _ in read_records(data, VESSEL, "x.csv").rows)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert rows == 300_000 and peak < 4 << 20 and steps[0] == 300_001
