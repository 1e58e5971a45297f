"""A file of unknown make to a sheet of cells. In: bytes. Out: encoding, delimiter, header row, head and foot, and the cells.

The delimiter is the one under which the lines have the same number of fields, as a strict CSV reader counts them; the
cells come from the pipeline's own reader, so that what is learnt is what will be read.
"""

from __future__ import annotations

import csv
import re
import unicodedata
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from pipeline.errors import UserError
from pipeline.intake.dialect import Dialect
from pipeline.intake.lines import check_text, read_lines
from pipeline.intake.reader import read_records
from pipeline.learn.encoding import EncodingGuess
from pipeline.learn.foot import TotalMark, count_foot, find_total, find_units
from pipeline.learn.vocabulary import read_data

SAMPLE_LINES = 3_000
MOST_HEAD = 60
MOST_ROWS = 100_000
MOST_RESTARTS = 50
DATE_SHAPE = re.compile(r"\d{1,4}[./-]\d{1,2}[./-]\d{2,4}([ T].*)?")
NUMBER_SHAPE = re.compile(r"[+-]?[\d.,]*\d")


@dataclass(frozen=True)
class Layout:
    """How the lines of one file are laid out under one delimiter; `fit` 0..1 says how well."""

    delimiter: str
    width: int
    skip_head: int
    header: tuple[str, ...]
    skip_foot: int
    is_foot_sure: bool
    fit: float


@dataclass(frozen=True)
class Sheet:
    """One kind of file, read: `rows` are trimmed cells in the order of `headers`, at most MOST_ROWS of them.

    `units` are header and unit where a line of units stands under the header.
    """

    encoding: EncodingGuess
    layout: Layout
    headers: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    head_lines: tuple[str, ...]
    broken: int
    repeated_headers: int
    totals: tuple[TotalMark, ...]
    is_sampled: bool
    units: tuple[tuple[str, str], ...] = ()


def read_sheet(files: list[tuple[Path, bytes]], encoding: EncodingGuess) -> Sheet:
    """Read files of one kind. Raises UserError no-columns, unlike-files, no-data-in-file, not-csv, wrong-encoding."""
    reading = Dialect("draft", (), (), "", encoding=encoding.name)
    layouts: list[Layout] = []
    head_lines: list[str] = []
    for path, data in files:
        check_text(data, reading, str(path))
        lines = list(read_lines(data, encoding.name))
        layout = find_layout(lines, str(path))
        if layouts and layout.header != layouts[0].header:
            raise UserError("unlike-files", path=path, first=files[0][0], difference=_difference(layouts[0], layout))
        if layouts and layout.skip_head != layouts[0].skip_head:
            raise UserError("unlike-files", path=path, first=files[0][0], difference="its header stands on another line")
        layouts.append(layout)
        head_lines += [line.strip() for line in lines[: layout.skip_head]]
    # Where the files differ in foot lines, the fewest are left out: the others' are put aside when read, not lost.
    layout = min(layouts, key=lambda item: item.skip_foot)
    return _read_cells(files, encoding, layout, tuple(head_lines))


def _difference(first: Layout, other: Layout) -> str:
    new = [name for name in other.header if name not in first.header]
    gone = [name for name in first.header if name not in other.header]
    parts = [f"new {', '.join(map(repr, new[:5]))}"] if new else []
    parts += [f"without {', '.join(map(repr, gone[:5]))}"] if gone else []
    return "; ".join(parts) or "in another order"


def _read_cells(files: list[tuple[Path, bytes]], encoding: EncodingGuess, layout: Layout, head_lines: tuple[str, ...]) -> Sheet:
    dialect = Dialect(
        "draft", (), (), "", encoding=encoding.name, delimiter=layout.delimiter, skip_head=layout.skip_head,
        skip_foot=layout.skip_foot, ignore_columns=layout.header,
    )  # fmt: skip
    rows: list[tuple[str, ...]] = []
    totals: dict[TotalMark, None] = {}
    units: dict[str, str] = {}
    broken = repeated = 0
    is_sampled = False
    for path, data in files:
        records = read_records(data, dialect, str(path))
        for _, _, raw in records.rows:
            cells = tuple(cell.strip() for cell in raw)
            if len(rows) >= MOST_ROWS:
                is_sampled = True
                break
            if cells == layout.header:
                repeated += 1
            elif found := find_units(cells, layout.header):
                units |= found
                place = next(number for number, cell in enumerate(cells) if cell)
                totals[TotalMark(layout.header[place], cells[place], False)] = None
            elif (total := find_total(cells, layout.header)) is not None:
                totals[total] = None
            else:
                rows.append(cells)
        broken += len(records.broken)
    return Sheet(
        encoding,
        layout,
        layout.header,
        tuple(rows),
        head_lines,
        broken,
        repeated,
        tuple(totals),
        is_sampled,
        tuple(units.items()),
    )


def find_layout(lines: list[str], path: str) -> Layout:
    """The delimiter under which a header row and even records are found. Raises UserError no-columns."""
    found = [layout for mark in read_data("marks.toml")["delimiters"] if (layout := _try_delimiter(lines, mark)) is not None]
    if not found:
        raise UserError("no-columns", path=path)
    return max(found, key=lambda layout: layout.fit)


def _try_delimiter(lines: list[str], delimiter: str) -> Layout | None:
    rows = _split_rows(lines[:SAMPLE_LINES], delimiter)
    widths = Counter(len(cells) for _, cells in rows if len(cells) > 1)
    if not widths:
        return None
    # The first row of a wide enough kind that reads like labels; the commonest width first.
    for width, _ in widths.most_common(3):
        for place, (index, cells) in enumerate(rows[:MOST_HEAD]):
            labels = tuple(unicodedata.normalize("NFC", cell.strip()) for cell in cells)
            quality = score_labels(labels) if len(cells) == width else 0.0
            if quality < 0.5:
                continue
            below = rows[place + 1 :]
            share = (sum(len(row) == width for _, row in below) + 1) / (len(below) + 2)
            foot, is_sure = count_foot(lines[index + 1 :], delimiter, width)
            return Layout(delimiter, width, index, labels, foot, is_sure, share * quality * (1 - 1 / width))
    return None


def _split_rows(lines: list[str], delimiter: str) -> list[tuple[int, list[str]]]:
    """Records with the index of their first line; a broken quote costs its own line."""
    rows: list[tuple[int, list[str]]] = []
    base = 0
    for _ in range(MOST_RESTARTS):
        reader, used = csv.reader(iter(lines[base:]), delimiter=delimiter, strict=True), 0
        try:
            for cells in reader:
                if any(cell.strip() for cell in cells):
                    rows.append((base + used, cells))
                used = reader.line_num
            return rows
        except csv.Error:
            base += used + 1
    return rows


def score_labels(cells: tuple[str, ...]) -> float:
    """How much a row reads like column headers: filled, short, no two alike, neither dates nor numbers."""
    filled = [cell for cell in cells if cell]
    if len(filled) < 2 or len(filled) < len(cells) / 2:
        return 0.0
    if any(DATE_SHAPE.fullmatch(cell) for cell in filled):
        return 0.0
    labels = [
        cell for cell in filled if len(cell) <= 80 and re.search(r"[^\W\d_]|[?%#№]", cell) and not NUMBER_SHAPE.fullmatch(cell)
    ]
    return len(labels) / len(filled) * (len(set(filled)) / len(filled)) * (0.5 + 0.5 * len(filled) / len(cells))
