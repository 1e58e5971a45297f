"""Sheets of quarantined rows, to send back to whoever wrote them. In: a finished database. Out: one CSV a source.

A sheet is written as its source writes: its columns, encoding and delimiter, with the reason, the place and an answer mark
added. Mended and put into the folder of exports under its name, it is read by the source's dialect, and the rows it
answers leave the quarantine.
"""

from __future__ import annotations

import csv
import io
import json
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from pipeline.errors import UserError, show_text
from pipeline.intake.dialect import sheet_name
from pipeline.intake.sheet import ANSWER, LINE, PLACE, REASON, write_answer
from pipeline.intake.store import replace_file
from pipeline.spreadsheet import guard
from pipeline.statements import read_sql
from pipeline.tell import say_count
from pipeline.warehouse.build import read_database


@dataclass(frozen=True)
class OpenRecord:
    """A record with at least one open row; `cells` in the source's own columns, `reasons` in a stable order."""

    file_id: str
    path: str
    record_no: int
    line_no: int
    cells: dict[str, str]
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class Sheet:
    """All open records of one source: a folder and a dialect."""

    folder: str
    dialect: str
    encoding: str
    delimiter: str
    records: tuple[OpenRecord, ...]

    @property
    def file_name(self) -> str:
        return sheet_name(self.dialect) + (".tsv" if self.delimiter == "\t" else ".csv")


def read_sheets(db: Path) -> list[Sheet]:
    """The open rows of the quarantine by source. Raises UserError no-database, database-busy, not-our-database."""
    with read_database(db) as con:
        rows = con.execute(read_sql("pipeline", "sheets")).fetchall()
    sources: dict[tuple[str, str, str, str], list[OpenRecord]] = {}
    for folder, dialect, encoding, delimiter, file_id, path, record_no, line_no, raw, reasons in rows:
        record = OpenRecord(file_id, path, record_no, line_no, json.loads(raw), tuple(reasons))
        sources.setdefault((folder, dialect, encoding, delimiter), []).append(record)
    return [Sheet(*source, tuple(records)) for source, records in sources.items()]


def sheet_text(sheet: Sheet) -> str:
    """The CSV of a sheet: the source's columns first, guarded against formulas, then ours."""
    headers = list(dict.fromkeys(name for record in sheet.records for name in record.cells if name != "(line)"))
    has_lines = any("(line)" in record.cells for record in sheet.records)
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, delimiter=sheet.delimiter, lineterminator="\r\n")
    writer.writerow([*map(guard, headers), *([LINE] if has_lines else []), REASON, PLACE, ANSWER])
    for record in sheet.records:
        cells = [guard(record.cells.get(name, "")) for name in headers]
        cells += [guard(record.cells.get("(line)", ""))] if has_lines else []
        place = guard(f"{record.path} line {record.line_no}")
        writer.writerow(
            [*cells, guard(show_text(" ".join(record.reasons))), place, write_answer(record.file_id, record.record_no)]
        )
    return stream.getvalue()


def sheet_bytes(sheet: Sheet) -> bytes:
    """The sheet in its source's encoding; what a reason says and that encoding lacks is written as an escape."""
    encoding = "utf-8-sig" if sheet.encoding.lower().replace("_", "-") in ("utf-8", "utf8") else sheet.encoding
    return sheet_text(sheet).encode(encoding, "backslashreplace")


def export_sheets(db: Path, target: Path, source: str | None = None) -> list[str]:
    """Write the sheets into the folder `target`, or the only one to a `target` that ends in .csv or .tsv; lines to print.

    An existing file is never replaced: it may be half mended. Raises UserError sheet-exists, which-source, cannot-write.
    """
    sheets = choose_sheets(read_sheets(db), source)
    if target.suffix.lower() in (".csv", ".tsv"):
        if len(sheets) > 1:
            raise UserError("which-source", target=target, sources=", ".join(sheet.dialect for sheet in sheets))
        places = [(target, sheet) for sheet in sheets]
    else:
        several = len({sheet.folder for sheet in sheets}) > 1
        places = [((target / sheet.folder if several else target) / sheet.file_name, sheet) for sheet in sheets]
    for place, _ in places:
        if place.exists():
            raise UserError("sheet-exists", path=place)
    for place, sheet in places:
        replace_file(place, sheet_bytes(sheet))
    lines = [f"{place}: {say_count(len(sheet.records), 'record')} of {sheet.folder}/{sheet.dialect}" for place, sheet in places]
    if lines:
        lines.append(
            "Send each to its source. Mended, put it into the folder of exports, its column firekpi row as it is, and run again."
        )
    return lines or ["Nothing is open in the quarantine."]


def choose_sheets(sheets: list[Sheet], source: str | None) -> list[Sheet]:
    """All sheets, or those of one dialect. Raises UserError no-source."""
    if source is None:
        return sheets
    chosen = [sheet for sheet in sheets if sheet.dialect == source]
    if not chosen:
        raise UserError("no-source", source=source, sources=", ".join(sheet.dialect for sheet in sheets) or "none")
    return chosen


def list_open(db: Path, source: str | None = None, most: int = 20) -> list[str]:
    """Each source with its open records, the oldest first, as lines to print."""
    lines: list[str] = []
    for sheet in choose_sheets(read_sheets(db), source):
        lines.append(f"{sheet.folder}/{sheet.dialect}: {say_count(len(sheet.records), 'record')} open, {_by_file(sheet.records)}")
        for record in sheet.records[:most]:
            lines.append(
                f"  {show_text(record.path)}, line {record.line_no}, record {record.record_no}: {show_text(' '.join(record.reasons))}"
            )
        if len(sheet.records) > most:
            lines.append(f"  ... and {len(sheet.records) - most:,} more")
    return lines or ["Nothing is open in the quarantine."]


def _by_file(records: Iterable[OpenRecord]) -> str:
    return say_count(len(Counter(record.path for record in records)), "file")
