"""The sheet of quarantined rows that goes back to its sender and returns mended: what its three added columns mean.

In: a file or a cell of it. Out: whether it is a sheet, how it is written, which record a row answers.
"""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace

from pipeline.intake.dialect import Dialect
from pipeline.intake.lines import would_garble

REASON, PLACE, ANSWER = "firekpi reason", "firekpi file and line", "firekpi row"
SHEET_COLUMNS = (REASON, PLACE, ANSWER)
LINE = "firekpi line as sent"
LONGEST_HEADER = 1 << 18


def read_sheet_form(data: bytes, dialect: Dialect) -> Dialect | None:
    """The dialect as this file is written in, if it is a sheet; None if not.

    A spreadsheet saves in its own encoding and with its own delimiter. The header is ours, so that the form that gives
    the column of answers is no guess.
    """
    if not _may_be_sheet(data[:LONGEST_HEADER], dialect.encoding):
        return None
    for encoding in dict.fromkeys((*_marked_encodings(data), dialect.encoding, "utf-8")):
        try:
            text = data[:LONGEST_HEADER].decode(encoding, "ignore").removeprefix("\ufeff")
        except UnicodeError:
            continue
        first, _, rest = text.partition("\n")
        skip = 1 if first.strip('"\r').lower().startswith("sep=") else 0  # some spreadsheets say so first
        for delimiter in dict.fromkeys((dialect.delimiter, ",", ";", "\t", "|")):
            if ANSWER in _read_header(rest if skip else text, delimiter):
                chosen = "utf-8" if would_garble(data, encoding) else encoding
                return replace(dialect, encoding=chosen, delimiter=delimiter, skip_head=skip, skip_foot=0)
    return None


def _may_be_sheet(beginning: bytes, encoding: str = "ascii") -> bool:
    """Whether the column of answers is named there, in any encoding that has ASCII in it or in this one."""
    return ANSWER.encode() in beginning.replace(b"\0", b"") or ANSWER.encode(encoding, "replace") in beginning


def _marked_encodings(data: bytes) -> tuple[str, ...]:
    """What a byte order mark tells."""
    marks = {b"\xef\xbb\xbf": "utf-8", b"\xff\xfe": "utf-16", b"\xfe\xff": "utf-16"}
    return tuple(encoding for mark, encoding in marks.items() if data.startswith(mark))


def _read_header(text: str, delimiter: str) -> list[str]:
    """The first record that says something; a header may itself hold line breaks."""
    try:
        for cells in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter):
            if any(cell.strip() for cell in cells):
                return [cell.strip() for cell in cells]
    except csv.Error:
        return []
    return []


def find_answered(data: bytes) -> str | None:
    """The file_id in the first answer of what may be a sheet, whatever it is written in; None if there is none."""
    if not _may_be_sheet(data[:LONGEST_HEADER]):
        return None
    beginning = data[:LONGEST_HEADER].replace(b"\0", b"")
    found = re.search(rb"([0-9a-f]{12}):[0-9]{1,12}", beginning.split(ANSWER.encode(), 1)[1])
    return found[1].decode() if found else None


def write_answer(file_id: str, record_no: int) -> str:
    return f"{file_id}:{record_no}"


def read_answer(cell: str) -> tuple[str, int] | None:
    """Which record of which file a row of a sheet answers; None for a row that was added by hand."""
    found = re.fullmatch(r"\s*([0-9a-f]{12}):([0-9]{1,12})\s*", cell)
    return (found[1], int(found[2])) if found else None
