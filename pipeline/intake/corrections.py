"""Declared corrections: single cells put right by name, with who and why. In: corrections.csv. Out: `Correction`s a file.

A correction speaks of the newest version of its file and names the cell as it stands there. Once that no longer fits, the
run stops: a correction must never change what it was not made for. A whole record can be set aside in the same way: column
"(record)", from the record as its line stands in the file, to "set aside".
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass, replace
from datetime import date

from pipeline.errors import UserError
from pipeline.intake.reader import Broken, Records, plain_cell
from pipeline.intake.store import ReceivedFile, Store

WHOLE_RECORD, SET_ASIDE = "(record)", "set aside"
COLUMNS = ("file", "record", "column", "from", "to", "why", "who", "on")


@dataclass(frozen=True)
class Correction:
    """One cell of one record, as it came (`was`) and as it is to be read (`to`), in the source's own words.

    `declared_in` and `declared_record_no` say where it stands.
    """

    path: str
    record_no: int
    header: str
    was: str
    to: str
    why: str
    who: str
    declared_on: str
    declared_in: str
    declared_record_no: int
    declared_file_id: str

    @property
    def said(self) -> str:
        return f"{self.why} ({self.who}, {self.declared_on})"

    @property
    def sets_aside(self) -> bool:
        return self.header == WHOLE_RECORD

    def fails(self, why: str) -> UserError:
        return UserError(
            "correction-without-match",
            file=self.declared_in,
            record_no=self.declared_record_no,
            path=self.path,
            of_record=self.record_no,
            column=self.header,
            why=why,
        )


def find_corrections(store: Store, files: list[ReceivedFile], is_part: bool = False) -> dict[str, tuple[Correction, ...]]:
    """Corrections by the file_id of the newest version of the file they speak of, from each folder's newest list.

    `files` are those known, in the order in which they count. Where they are a part of what was received, corrections of others are
    left aside. Raises UserError bad-correction, correction-without-match.
    """
    newest = {file.path: file for file in files}
    found: dict[str, list[Correction]] = {}
    for file in newest.values():
        if not file.is_corrections:
            continue
        for correction in read_corrections(store.open_file(file), file):
            if is_part and correction.path not in newest:
                continue
            if correction.path not in newest or newest[correction.path].is_corrections:
                raise correction.fails("there is no such file, or it does not count any more")
            found.setdefault(newest[correction.path].file_id, []).append(correction)
    return {file_id: tuple(items) for file_id, items in found.items()}


def read_corrections(data: bytes, file: ReceivedFile) -> list[Correction]:
    """Every correction of a corrections.csv (UTF-8, commas). Raises UserError bad-correction."""
    found: dict[tuple[str, int, str], Correction] = {}
    if not data.strip():
        return []
    try:
        reader = csv.DictReader(io.StringIO(data.decode("utf-8-sig"), newline=""), strict=True)
        missing = [name for name in COLUMNS if name not in (reader.fieldnames or ())]
        if missing:
            raise UserError("bad-correction", file=file.path, record_no=0, why=f"no column {', '.join(missing)}")
        for number, record in enumerate(reader, start=1):
            correction = _read_correction(record, number, file)
            key = (correction.path, correction.record_no, correction.header)
            if key in found:
                raise UserError("bad-correction", file=file.path, record_no=number, why="the same cell is corrected twice")
            found[key] = correction
    except (UnicodeDecodeError, csv.Error) as error:
        raise UserError("bad-correction", file=file.path, record_no=0, why=f"it can't be read: {error}") from error
    return list(found.values())


def _read_correction(record: dict, number: int, file: ReceivedFile) -> Correction:
    def refuse(why: str) -> UserError:
        return UserError("bad-correction", file=file.path, record_no=number, why=why)

    cells = {name: plain_cell(record[name] or "") for name in COLUMNS}
    if None in record:
        raise refuse("it has more cells than headers")
    for name in COLUMNS:
        if not cells[name] and name not in ("from", "to"):
            raise refuse(f"{name} is empty")
    if cells["column"] == WHOLE_RECORD and (not cells["from"] or cells["to"] != SET_ASIDE):
        raise refuse(
            f"a whole record can only be set aside: copy its line from the file under from and write {SET_ASIDE!r} under to"
        )
    if cells["from"] == cells["to"]:
        raise refuse("from and to are the same")
    try:
        record_no = int(cells["record"])
    except ValueError as error:
        raise refuse(f"record {cells['record']!r} can't be read: write the number of the record") from error
    try:
        declared_on = date.fromisoformat(cells["on"])
    except ValueError as error:
        raise refuse(f"on {cells['on']!r} can't be read: write it year-month-day") from error
    path = f"{file.folder}/{cells['file'].removeprefix(f'{file.folder}/')}"
    return Correction(
        path,
        record_no,
        cells["column"],
        cells["from"],
        cells["to"],
        cells["why"],
        cells["who"],
        str(declared_on),
        file.path,
        number,
        file.file_id,
    )


def correct_rows(rows, records: Records, corrections: tuple[Correction, ...], delimiter: str):
    """Yield (record_no, line_no, cells) with the corrected cells; records set aside become broken ones instead.

    Raises UserError correction-without-match.
    """
    waiting: dict[int, list[Correction]] = {}
    for correction in corrections:
        if records.headers.count(correction.header) != 1 and not correction.sets_aside:
            raise correction.fails(f"the file has no such column; it has {', '.join(records.headers)}")
        waiting.setdefault(correction.record_no, []).append(correction)
    for record_no, line_no, cells in rows:
        asked = waiting.pop(record_no, ())
        set_aside = next((correction for correction in asked if correction.sets_aside), None)
        if set_aside:
            if _split(set_aside.was, delimiter) != _trim(cells):
                raise set_aside.fails(f"the record is {delimiter.join(cells)!r}")
            records.broken.append(Broken(record_no, line_no, "set-aside", set_aside.said))
            continue
        for correction in asked:
            _correct_cell(cells, records.headers.index(correction.header), correction)
        yield record_no, line_no, cells
    _set_broken_aside(records, waiting)
    for items in waiting.values():
        raise items[0].fails("the file has no such record, or it is no row")


def _split(line: str, delimiter: str) -> list[str]:
    """The cells of a line that was copied from the file."""
    return _trim(next(csv.reader([line], delimiter=delimiter), []))


def _trim(cells: list[str]) -> list[str]:
    """Cells to compare: trimmed, without the empty ones at the end, which a spreadsheet or an editor may drop."""
    trimmed = [plain_cell(cell) for cell in cells]
    while trimmed and not trimmed[-1]:
        trimmed.pop()
    return trimmed


def _correct_cell(cells: list[str], index: int, correction: Correction) -> None:
    found = plain_cell(cells[index])
    if found != correction.was:
        already = " already, so take the correction out" if found == correction.to else f", not {correction.was!r}"
        raise correction.fails(f"the cell is {found!r}{already}")
    cells[index] = correction.to


def _set_broken_aside(records: Records, waiting: dict[int, list[Correction]]) -> None:
    """A record that is no row can be set aside too."""
    for index, item in enumerate(records.broken):
        asked = waiting.get(item.record_no, ())
        if asked and all(correction.sets_aside for correction in asked):
            if plain_cell(item.value) != asked[0].was:
                raise asked[0].fails(f"the record is {item.value!r}")
            records.broken[index] = replace(item, rule="set-aside", value=asked[0].said)
            del waiting[item.record_no]
