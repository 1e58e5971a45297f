"""Bytes to records: strict decoding and strict CSV, every record with its number and line.

In: the bytes of one file and its dialect. Out: header, good records, and the broken ones with what is wrong.
A broken quote costs its own line only: reading starts again on the next one.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass, field

from pipeline.errors import UserError
from pipeline.intake.dialect import Dialect

# A field or record beyond this is no cell of an inspection record but a quote gone astray; it is put aside as broken.
LONGEST_RECORD = 4_000_000
LONGEST_SHOWN = 2_000
csv.field_size_limit(LONGEST_RECORD)


@dataclass(frozen=True)
class Broken:
    """A record that is no row: where it starts, the slug of what is wrong, its text."""

    record_no: int
    line_no: int
    rule: str
    value: str


@dataclass
class Records:
    """One file as records. `rows` yields (record_no, line_no, cells) once and fills `broken` as it goes."""

    headers: list[str]
    rows: Iterator[tuple[int, int, list[str]]]
    broken: list[Broken] = field(default_factory=list)
    count: int = 0
    lines_skipped: int = 0


def read_records(data: bytes, dialect: Dialect, path: str) -> Records:
    """Decode and split one file. Raises UserError no-data-in-file, wrong-encoding, not-csv, header-mismatch."""
    every = split_lines(decode(data, dialect, path))
    lines = _drop_foot(every, dialect.skip_foot)
    if not any(line.strip() for line in lines[dialect.skip_head :]):
        raise UserError("no-data-in-file", path=path)
    headers, start = _read_header(lines, dialect, path)
    _check_headers(headers, start, dialect, path)
    records = Records(headers, iter(()))
    skipped = every[: dialect.skip_head] + every[len(lines) :]
    records.lines_skipped = sum(1 for line in skipped if line.strip())
    records.rows = _walk_records(lines, start, dialect.delimiter, records)
    return records


def decode(data: bytes, dialect: Dialect, path: str) -> str:
    """Strictly decode; a byte order mark is dropped."""
    if not data.strip():
        raise UserError("no-data-in-file", path=path)
    try:
        text = data.decode(dialect.encoding)
    except UnicodeError as error:
        why = _foreign(data)
        if why:
            raise UserError("not-csv", path=path, why=why) from error
        offset = getattr(error, "start", 0)
        raise UserError("wrong-encoding", path=path, offset=offset, encoding=dialect.encoding, dialect=dialect.name) from error
    if "\0" in text:
        raise UserError("not-csv", path=path, why=_foreign(data) or "it holds binary data")
    return text.removeprefix("\ufeff")


def _foreign(data: bytes) -> str:
    """What a file is that holds zero bytes; nothing for plain text in some other encoding."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "it is UTF-16 text: set encoding = 'utf-16' in its dialect"
    return "it holds binary data" if b"\0" in data[:4096] else ""


def split_lines(text: str) -> list[str]:
    """Physical lines, ends kept: only CR, LF and CR LF end a line."""
    return list(io.StringIO(text, newline=""))


def _drop_foot(lines: list[str], count: int) -> list[str]:
    """Leave out the last `count` lines that say something, and the blank ones after them."""
    end = len(lines)
    for _ in range(count):
        while end and not lines[end - 1].strip():
            end -= 1
        end = max(end - 1, 0)
    return lines[:end]


def _read_header(lines: list[str], dialect: Dialect, path: str) -> tuple[list[str], int]:
    """The header cells and the index of the line after them."""
    reader = csv.reader(iter(lines[dialect.skip_head :]), delimiter=dialect.delimiter, strict=True)
    try:
        for cells in reader:
            if cells:
                return [cell.strip() for cell in cells], dialect.skip_head + reader.line_num
    except csv.Error as error:
        raise UserError("not-csv", path=path, why=f"its header row can't be read: {error}") from error
    raise UserError("no-data-in-file", path=path)


def _check_headers(headers: list[str], line_no: int, dialect: Dialect, path: str) -> None:
    """Every header is mapped or knowingly ignored, every wanted one is there, none stands twice."""
    wanted = dialect.wanted_headers()
    named = [header for header in headers if header]
    problems = []
    twice = sorted({header for header in named if named.count(header) > 1 and header in wanted})
    unmapped = [header for header in named if header not in wanted and header not in dialect.ignore_columns]
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


def _walk_records(lines: list[str], start: int, delimiter: str, records: Records):
    """Yield good records; put broken ones aside and go on with the line after their first."""
    width, base = len(records.headers), start
    unnamed = [number for number, header in enumerate(records.headers) if not header]
    while base < len(lines):
        reader = csv.reader(map(lines.__getitem__, range(base, len(lines))), delimiter=delimiter, strict=True)
        used, restart = 0, None
        try:
            for cells in reader:
                first, used, span = base + used, reader.line_num, reader.line_num - used
                if not cells:
                    continue
                records.count += 1
                rule = _find_fault(cells, width, unnamed, lines[first : first + span], delimiter)
                if rule is None:
                    if any(cells) and any(cell.strip() for cell in cells):
                        yield records.count, first + 1, cells
                    continue
                records.broken.append(_make_broken(records.count, lines, first, rule))
                if rule == "unclosed-quote":
                    restart = first + 1
                    break
        except csv.Error:
            first = base + used
            records.count += 1
            records.broken.append(_make_broken(records.count, lines, first, "unclosed-quote"))
            restart = first + 1
        if restart is None:
            return
        base = restart


def _find_fault(cells: list[str], width: int, unnamed: list[int], lines: list[str], delimiter: str) -> str | None:
    """The slug of what is wrong with a record, or None.

    A record over several lines that doesn't fit is a quote that was never closed; so is one that fits but has swallowed a
    whole line of the file's own width.
    """
    if len(lines) > 1:
        swallowed = width > 2 and any(line.count(delimiter) >= width - 1 for line in lines[1:-1])
        if len(cells) != width or swallowed:
            return "unclosed-quote"
    if len(cells) != width or any(cells[number].strip() for number in unnamed):
        return "ragged-record"
    return "record-too-long" if sum(map(len, cells)) > LONGEST_RECORD else None


def _make_broken(record_no: int, lines: list[str], index: int, rule: str) -> Broken:
    return Broken(record_no, index + 1, rule, lines[index].rstrip("\r\n")[:LONGEST_SHOWN])


def read_raw(data: bytes, dialect: Dialect, path: str, wanted: set[int]) -> dict[int, dict[str, str]]:
    """The named records in the source's own columns, for the quarantine: record_no -> {header: cell}."""
    records = read_records(data, dialect, path)
    found = {number: dict(zip(records.headers, cells, strict=True)) for number, _, cells in records.rows if number in wanted}
    found.update({item.record_no: {"(line)": item.value} for item in records.broken if item.record_no in wanted})
    return found
