"""Bytes to records: strict decoding and strict CSV, every record with its number and line.

In: the bytes of one file and its dialect. Out: header, good records, and the broken ones with what is wrong.
A broken quote costs its own line only: reading starts again on the next one.
"""

from __future__ import annotations

import csv
import itertools
import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import PurePosixPath

from pipeline.errors import UserError
from pipeline.intake.dialect import Dialect, fold_word, plain_name
from pipeline.intake.lines import LONGEST_RECORD, LineSource, Overlong, TooMuchReread, check_text, drop_foot, read_lines
from pipeline.intake.sheet import ANSWER, LINE, SHEET_COLUMNS, read_answer, read_sheet_form
from pipeline.spreadsheet import unguard

LONGEST_SHOWN = 2_000
MOST_COLUMNS = 5_000
MOST_BROKEN = 100_000
csv.field_size_limit(LONGEST_RECORD)


@dataclass(frozen=True)
class Broken:
    """A record that is no row: where it starts, the slug of what is wrong, its text; `content` where the text is not all of it."""

    record_no: int
    line_no: int
    rule: str
    value: str
    content: str = ""


@dataclass
class Records:
    """One file as records. `rows` yields (record_no, line_no, cells) once and fills the rest as it goes.

    `answers` maps a record of a mended sheet to the quarantined one it answers: record_no -> (file_id, record_no).
    """

    headers: list[str]
    rows: Iterator[tuple[int, int, list[str]]]
    broken: list[Broken] = field(default_factory=list)
    count: int = 0
    lines_skipped: int = 0
    answers: dict[int, tuple[str, int]] = field(default_factory=dict)
    is_sheet: bool = False


def read_records(data: bytes, dialect: Dialect, path: str) -> Records:
    """Decode and split one file.

    Raises UserError no-data-in-file, wrong-encoding, garbled-encoding, not-csv, header-mismatch; not-csv also while rows are read.
    """
    form = read_sheet_form(data, dialect)
    if form is None and PurePosixPath(plain_name(path)).stem.lower() == dialect.sheet_name:
        raise UserError("sheet-without-answers", path=path, column=ANSWER)
    dialect = form or dialect
    check_text(data, dialect, path)
    foot: list[tuple[int, str]] = []
    lines = drop_foot(read_lines(data, dialect.encoding), dialect.skip_foot, foot)
    source = LineSource(lines)
    records = Records([], iter(()))
    records.lines_skipped = sum(1 for line in itertools.islice(source, dialect.skip_head) if line.strip())
    source.begin()
    records.headers = _read_header(source, dialect, path)
    records.is_sheet = form is not None
    if records.is_sheet:
        records.headers = [unguard(header) for header in records.headers]
    _check_headers(records.headers, source.number, dialect, path, records.is_sheet)
    records.rows = _finish(_walk_records(source, dialect, records, path), records, foot, dialect.delimiter)
    return records


def _finish(rows, records: Records, foot: list[tuple[int, str]], delimiter: str):
    """Undo what a sheet was given for the spreadsheet, and account for the lines left out at the foot."""
    sheet = records.is_sheet
    answer = records.headers.index(ANSWER) if sheet else -1
    own = [index for index, header in enumerate(records.headers) if header not in (*SHEET_COLUMNS, LINE)]
    for record_no, line_no, cells in rows:
        if sheet:
            if not any(cells[index].strip() for index in own):
                records.lines_skipped += 1  # a record that was no row, and nobody filled it in: no answer
                continue
            cells = [unguard(cell) for cell in cells]
            answered = read_answer(cells[answer])
            if answered:
                records.answers[record_no] = answered
        yield record_no, line_no, cells
    for line_no, line in foot:
        if _looks_like_record(line, len(records.headers), delimiter):
            records.count += 1
            records.broken.append(Broken(records.count, line_no, "record-in-foot", line.rstrip("\r\n")[:LONGEST_SHOWN]))
        else:
            records.lines_skipped += 1


def _looks_like_record(line: str, width: int, delimiter: str) -> bool:
    """Whether a line at the foot is as wide as a record and filled like one: a file without its usual foot loses nothing."""
    try:
        cells = next(csv.reader([line], delimiter=delimiter, strict=True), [])
    except csv.Error:
        return False
    return len(cells) == width and 2 * sum(1 for cell in cells if cell.strip()) >= max(width, 3)


def _read_header(source: LineSource, dialect: Dialect, path: str) -> list[str]:
    """The header cells, trimmed, in Unicode's composed form as the dialect's."""
    try:
        for cells in csv.reader(source, delimiter=dialect.delimiter, strict=True):
            if cells:
                if len(cells) > MOST_COLUMNS:
                    raise UserError("not-csv", path=path, why=f"its header row has {len(cells):,} columns")
                return [plain_cell(cell) for cell in cells]
            source.begin()
    except (csv.Error, OverflowError) as error:
        why = str(error) or f"it has more than {LONGEST_RECORD:,} characters"
        raise UserError("not-csv", path=path, why=f"its header row can't be read: {why}") from error
    raise UserError("no-data-in-file", path=path)


def _check_headers(headers: list[str], line_no: int, dialect: Dialect, path: str, sheet: bool) -> None:
    """Every header is mapped or knowingly ignored, every wanted one is there, none stands twice.

    A sheet carries columns of ours, and headers that were made different from their namesakes.
    """
    wanted = dialect.wanted_headers()
    named = [header for header in headers if header]
    problems = []
    twice = sorted({header for header in named if named.count(header) > 1 and header in wanted})
    unmapped = [] if sheet else [header for header in named if header not in wanted and header not in dialect.ignore_columns]
    missing = [header for header, is_needed in wanted.items() if is_needed and header not in headers]
    if missing:
        problems.append("no column " + ", ".join(repr(header) for header in missing))
    if unmapped:
        problems.append("unmapped column " + ", ".join(repr(header) for header in unmapped))
    if twice:
        problems.append("column twice " + ", ".join(repr(header) for header in twice))
    if problems:
        found = f"; the file has {', '.join(map(repr, named))}" if missing else ""
        raise UserError("header-mismatch", path=path, line_no=line_no, problems="; ".join(problems) + found, dialect=dialect.name)


def _walk_records(source: LineSource, dialect: Dialect, records: Records, path: str):
    """Yield good records; put broken ones aside and go on with the line after their first."""
    width = len(records.headers)
    unnamed = [number for number, header in enumerate(records.headers) if not header]
    totals = [(records.headers.index(rule.header), rule) for rule in dialect.total_rows]
    reader = csv.reader(source, delimiter=dialect.delimiter, strict=True)
    while True:
        source.begin()
        try:
            cells = next(reader)
            rule = find_fault(cells, width, unnamed, source.taken, dialect.delimiter)
        except StopIteration:
            return
        except (csv.Error, OverflowError):
            cells = None
            rule = "record-too-long" if isinstance(source.taken[0], Overlong) else "unclosed-quote"
        if cells == []:
            continue
        records.count += 1
        if cells and _is_skipped(cells, records.headers, dialect, totals):
            records.lines_skipped += 1
        elif rule is None:
            if any(cells) and any(cell.strip() for cell in cells):
                yield records.count, source.number - len(source.taken) + 1, cells
        else:
            _put_aside(records, source, rule, path)
        if cells is None or rule == "unclosed-quote":
            reader = csv.reader(source, delimiter=dialect.delimiter, strict=True)


def plain_cell(cell: str) -> str:
    """A cell as it is compared: trimmed, in Unicode's composed form."""
    return unicodedata.normalize("NFC", cell.strip())


def _is_skipped(cells: list[str], headers: list[str], dialect: Dialect, totals: list) -> bool:
    """Whether the record is the header row again, or sums up others, and the dialect says that such are no data."""
    if dialect.has_repeated_header and [plain_cell(cell) for cell in cells] == headers:
        return True
    for index, rule in totals:
        cell = fold_word(plain_cell(cells[index])) if index < len(cells) else ""
        if cell in rule.words or (rule.begins and cell.startswith(rule.begins)):
            return True
    return False


def find_fault(cells: list[str], width: int, unnamed: list[int], lines: list[str], delimiter: str) -> str | None:
    """The slug of what is wrong with a record, or None.

    A record over several lines that doesn't fit is a quote that was never closed; so is one that fits but has swallowed a
    whole line of the file's own width.
    """
    if len(lines) > 1:
        inner = (line for cell in cells for line in re.split(r"\r\n|\r|\n", cell)[1:-1])
        swallowed = width > 2 and any(line.count(delimiter) >= width - 1 for line in inner)
        if len(cells) != width or swallowed:
            return "unclosed-quote"
    if len(cells) != width or any(cells[number].strip() for number in unnamed):
        return "ragged-record"
    return None


def _put_aside(records: Records, source: LineSource, rule: str, path: str) -> None:
    """Name the record as broken; what a quote gone astray has swallowed is read again. Raises UserError not-csv."""
    line_no = source.number - len(source.taken) + 1
    lines = source.taken if rule == "ragged-record" else source.taken[:1]
    text = "".join(lines).rstrip("\r\n")[:LONGEST_SHOWN]
    records.broken.append(Broken(records.count, line_no, rule, text))
    if len(records.broken) > MOST_BROKEN:
        why = f"more than {MOST_BROKEN:,} of its records do not fit its header row"
        raise UserError("not-csv", path=path, why=why)
    if rule == "unclosed-quote":
        try:
            source.give_back()
        except TooMuchReread as error:
            raise UserError("not-csv", path=path, why="too many of its quotation marks are not closed") from error


def name_cells(records: Records) -> list[tuple[int, str]]:
    """The source's own columns as (place in a record, header); a namesake gets a number, so that no cell is lost."""
    headers = records.headers
    names = [name if name not in headers[:index] else f"{name} ({index + 1})" for index, name in enumerate(headers)]
    return [(index, name) for index, name in enumerate(names) if name not in SHEET_COLUMNS]
