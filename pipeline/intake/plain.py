"""The clean path: lines that are records as they stand go to DuckDB as bytes, all others through the reader one by one.

In: the bytes of a file, its dialect, and its header as the reader found it. Out: the same records that the reader would give, or None
where a record may be more than a line, and only the reader can tell. No quotation mark, the header's number of delimiters and a mark
that is no blank make a line plain.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from pipeline.errors import UserError
from pipeline.intake.cell import BLANKS
from pipeline.intake.dialect import Dialect
from pipeline.intake.lines import LONGEST_RECORD
from pipeline.intake.reader import LONGEST_SHOWN, MOST_BROKEN, Broken, Records, find_fault, name_cells, plain_cell, read_records

PIECE = 16 << 20
MOST_OTHERS = 0.25  # share of lines that need the reader, beyond which it may as well read all
NEWLINE, QUOTE, SPACE = 10, 34, 32


@dataclass
class Plain:
    """A file cut in two: `pieces` of plain lines, and `rows` of other lines, as the reader gives rows: (record_no, line_no, cells).

    `is_trimmed`: no cell begins or ends with a blank. `count` is the number of plain lines. `shifts`: from which plain line on (counted from 0) what is added to its number to give its
    record_no and its line_no; the first is of line 0.
    """

    is_trimmed: bool = False
    pieces: list[memoryview] = field(default_factory=list)
    rows: list[tuple[int, int, list[str]]] = field(default_factory=list)
    count: int = 0
    shifts: list[tuple[int, int, int]] = field(default_factory=list)


def read_plain(data: bytes, dialect: Dialect, records: Records, path: str) -> Plain | None:
    """Cut the file; fills `records` as reading it would. None: read it by the reader. Raises UserError not-csv as the reader does."""
    body = _find_body(data, dialect, records)
    if body is None:
        return None
    text, line_no = body
    plain, broken = Plain(), []
    record_no, others = 0, 0
    for piece, ends, is_other in _walk_pieces(text, ord(dialect.delimiter), len(records.headers)):
        others += int(is_other.sum())
        if others > MOST_OTHERS * max(len(ends) + record_no, 100):
            return None
        at, row = 0, 0
        for number in np.flatnonzero(is_other).tolist():
            start = int(ends[number - 1]) + 1 if number else 0
            row = _keep_plain(plain, piece, at, start, number - row, record_no, line_no)
            record_no, line_no, at = record_no + row, line_no + row, int(ends[number]) + 1
            row = number + 1
            line_no += 1
            line = bytes(piece[start : ends[number] + 1]).decode()
            cells = _read_line(line, dialect.delimiter)
            if cells is None:
                return None
            if cells:
                record_no += 1
                rule = find_fault(cells, len(records.headers), [], [line], dialect.delimiter)
                if rule is not None:
                    broken.append(Broken(record_no, line_no, rule, line.rstrip("\r\n")[:LONGEST_SHOWN]))
                elif any(cell.strip() for cell in cells):
                    plain.rows.append((record_no, line_no, cells))
        rest = _keep_plain(plain, piece, at, len(piece), len(ends) - row, record_no, line_no)
        record_no, line_no = record_no + rest, line_no + rest
    if len(broken) > MOST_BROKEN:
        raise UserError("not-csv", path=path, why=f"more than {MOST_BROKEN:,} of its records do not fit its header row")
    plain.is_trimmed = _has_no_blanks(text, dialect.delimiter) and all(
        cell == cell.strip(BLANKS) for _, _, cells in plain.rows for cell in cells
    )
    records.count, records.broken, records.rows = record_no, broken, iter(())
    return plain


def read_raw(data: bytes, dialect: Dialect, path: str, wanted: dict[int, int]) -> Iterator[tuple[int, dict[str, str]]]:
    """Yield the named records in the source's own columns, for the quarantine: (record_no, {header: cell}). wanted: record_no -> line_no."""
    records = read_records(data, dialect, path)
    kept = name_cells(records)
    rows = _find_lines(data, dialect, records, wanted)
    if rows is None:
        plain = read_plain(data, dialect, records, path)
        rows = (
            ((number, cells) for number, _, cells in records.rows)
            if plain is None
            else _find_rows(plain, dialect.delimiter, set(wanted))
        )
    for number, cells in rows:
        if number in wanted:
            yield number, {name: cells[index] for index, name in kept}
    blank = dict.fromkeys((name for _, name in kept), "")  # a sheet needs the columns to be filled in
    yield from ((item.record_no, blank | {"(line)": item.value}) for item in records.broken if item.record_no in wanted)


def _find_lines(data: bytes, dialect: Dialect, records: Records, wanted: dict[int, int]) -> list[tuple[int, list[str]]] | None:
    """The wanted records (record_no, cells) by their lines, where no quotation mark makes a record of more than a line; else None.

    Broken ones go to `records.broken`, as reading would put them there.
    """
    body = _find_body(data, dialect, records)
    if body is None or b'"' in body[0]:
        return None
    rows, broken = [], []
    for record_no, line_no, line in _take_lines(*body, wanted):
        if len(line) >= LONGEST_RECORD:
            return None
        cells = line.split(dialect.delimiter)
        rule = find_fault(cells, len(records.headers), [], [line], dialect.delimiter)
        if rule is None:
            rows.append((record_no, cells))
        else:
            broken.append(Broken(record_no, line_no, rule, line[:LONGEST_SHOWN]))
    records.broken = broken
    return rows


def _take_lines(text: bytes, passed: int, wanted: dict[int, int]) -> Iterator[tuple[int, int, str]]:
    """(record_no, line_no, line) of the wanted records, whose lines are counted from `passed` on."""
    places = sorted((line_no - passed - 1, record_no) for record_no, line_no in wanted.items())
    before, at = 0, 0
    for piece in _cut_pieces(text):
        ends = np.flatnonzero(np.frombuffer(piece, np.uint8) == NEWLINE)
        while at < len(places) and places[at][0] < before + len(ends):
            place, record_no = places[at][0] - before, places[at][1]
            start = int(ends[place - 1]) + 1 if place else 0
            yield record_no, places[at][0] + passed + 1, bytes(piece[start : ends[place]]).decode()
            at += 1
        before += len(ends)


def _find_rows(plain: Plain, delimiter: str, wanted: set[int]) -> Iterator[tuple[int, list[str]]]:
    """The wanted records among the plain lines, and all others: (record_no, cells)."""
    numbers, row = np.array(sorted(wanted)), 0
    begins = np.array([row for row, _, _ in plain.shifts])
    for piece in plain.pieces:
        ends = np.flatnonzero(np.frombuffer(piece, np.uint8) == NEWLINE)
        shift = plain.shifts[int(np.searchsorted(begins, row, "right")) - 1][1]
        inside = numbers[(numbers >= row + shift) & (numbers < row + shift + len(ends))]
        for place in (inside - row - shift).tolist():
            start = int(ends[place - 1]) + 1 if place else 0
            yield place + row + shift, bytes(piece[start : ends[place]]).decode().split(delimiter)
        row += len(ends)
    yield from ((number, cells) for number, _, cells in plain.rows)


def _keep_plain(plain: Plain, piece: memoryview, start: int, end: int, lines: int, record_no: int, line_no: int) -> int:
    """Add a run of plain lines, which begins after that record and line; returns how many they are."""
    if lines:
        shift = (plain.count, record_no + 1 - plain.count, line_no + 1 - plain.count)
        if not plain.shifts or plain.shifts[-1][1:] != shift[1:]:
            plain.shifts.append(shift)
        plain.pieces.append(piece[start:end])
        plain.count += lines
    return lines


def _find_body(data: bytes, dialect: Dialect, records: Records) -> tuple[bytes, int] | None:
    """What follows the header, as UTF-8 with line feeds, and how many lines came before; None where the reader has to read."""
    is_simple = not (records.is_sheet or dialect.skip_foot or dialect.total_rows or dialect.has_repeated_header)
    if not is_simple or not dialect.delimiter.isascii() or len(records.headers) < 2 or not all(records.headers):
        return None
    if not (data.isascii() and dialect.encoding.lower() in ("utf-8", "cp1252", "latin-1", "iso-8859-1", "ascii")):
        data = data.decode(dialect.encoding).removeprefix("\ufeff").encode()
    if b"\r" in data:
        data = data.replace(b"\r\n", b"\n")
        if b"\r" in data:
            return None
    begin = 0
    for _ in range(dialect.skip_head):
        begin = data.find(b"\n", begin) + 1
        if not begin:
            return None
    end = data.find(b"\n", begin) + 1
    header = _read_line(data[begin:end].decode(), dialect.delimiter)
    if not end or header is None or [plain_cell(cell) for cell in header] != records.headers:
        return None
    return _drop_blank_end(data[end:] if data.endswith(b"\n") else data[end:] + b"\n"), dialect.skip_head + 1


def _drop_blank_end(text: bytes) -> bytes:
    """Without the lines after the last one that says something: they belong to no record."""
    end = len(text)
    while end:
        begin = text.rfind(b"\n", 0, end - 1) + 1
        if text[begin:end].decode().strip():
            break
        end = begin
    return text[:end]


def _has_no_blanks(text: bytes, delimiter: str) -> bool:
    """Whether no plain line has a blank beside a delimiter or a line's end, nor any but the space at all."""
    others = [blank.encode() for blank in BLANKS if blank not in " \n" and (blank.isascii() or not text.isascii())]
    if text.startswith(b" ") or any(found in text for found in others):
        return False
    view = memoryview(text)
    return not any(_has_blank_beside(view[begin : begin + PIECE + 1], ord(delimiter)) for begin in range(0, len(text), PIECE))


def _has_blank_beside(piece: memoryview, delimiter: int) -> bool:
    """Whether a space stands before or after a delimiter or a line's end; only spaces are looked at, which are few."""
    marks = np.frombuffer(piece, np.uint8)
    blanks = np.flatnonzero(marks == SPACE)
    before, after = marks[np.maximum(blanks - 1, 0)], marks[np.minimum(blanks + 1, len(marks) - 1)]
    return any((found == mark).any() for found in (before, after) for mark in (delimiter, NEWLINE))


def _read_line(line: str, delimiter: str) -> list[str] | None:
    """The cells of a line; None where a quoted one goes on beyond it, its quotes are out of order, or it is no record for its length."""
    try:
        return None if len(line) > LONGEST_RECORD else next(csv.reader([line], delimiter=delimiter, strict=True), [])
    except csv.Error:
        return None


def _walk_pieces(text: bytes, delimiter: int, width: int) -> Iterator[tuple[memoryview, np.ndarray, np.ndarray]]:
    """Pieces of whole lines: the bytes, where its lines end (n,), which of them are not plain (n,)."""
    for piece in _cut_pieces(text):
        marks = np.frombuffer(piece, np.uint8)
        ends = np.flatnonzero(marks == NEWLINE)
        starts = np.append(0, ends[:-1] + 1)
        counts = np.diff(np.searchsorted(np.flatnonzero(marks == delimiter), ends), prepend=0)
        is_other = (counts != width - 1) | (ends - starts > LONGEST_RECORD)
        is_other[np.searchsorted(ends, np.flatnonzero(marks == QUOTE))] = True
        # a line that begins with neither a delimiter nor a blank of any alphabet says something
        first = marks[starts]
        for number in np.flatnonzero((first == delimiter) | (first <= 32) | (first >= 128)).tolist():
            line = bytes(piece[starts[number] : ends[number]]).decode().replace(chr(delimiter), " ")
            is_other[number] |= not line.strip()
        yield piece, ends, is_other


def _cut_pieces(text: bytes) -> Iterator[memoryview]:
    """The text in pieces of whole lines."""
    view, begin = memoryview(text), 0
    while begin < len(text):
        end = len(text) if begin + PIECE >= len(text) else text.rfind(b"\n", begin, begin + PIECE) + 1
        end = end or text.find(b"\n", begin + PIECE) + 1
        yield view[begin:end]
        begin = end
