"""Deliberate faults in the sample sheets. In: path -> clean `Sheet`. Out: the same with faults, and what was done.

Faulty rows are mostly extra, invented ones, so that no fault drags good rows with it.
"""

from __future__ import annotations

from collections.abc import Callable

from .fleet import make_imo_number
from .sample_sheets import later
from .sheets import Record, Row, Sheet

EVENT = {"inspection": "inspected_on", "service": "serviced_on", "finding": "found_on"}
STRANGE_IMO = make_imo_number(999)  # a number with a valid check digit of no vessel of this fleet


def find_base(sheet: Sheet, table: str, nth: int, fits: Callable[[dict], bool] | None = None) -> tuple[int, dict]:
    """The nth record that tells one satisfactory row of the table (and nothing else): its place and its row."""
    found = [
        (place, record.rows[0].told)
        for place, record in enumerate(sheet.records)
        if len(record.rows) == 1
        and record.rows[0].table == table
        and not record.rows[0].rule
        and not record.raw
        and record.rows[0].told.get("outcome", "satisfactory") == "satisfactory"
        and record.rows[0].told.get("kind", "annual_service") == "annual_service"
        and (fits is None or fits(record.rows[0].told))
    ]
    return found[nth % len(found)]


def add_extra(sheet: Sheet, table: str, nth: int, rule: str, change: dict | None = None, cells: dict | None = None) -> dict:
    """An extra row like the nth good one, three days later, changed, that breaks `rule` ('' = it is loaded)."""
    place, base = find_base(sheet, table, nth)
    event = EVENT.get(table)
    row = full_row(sheet, table, base)
    if event:
        row[event] = later(base[event], 3)
    row |= change or {}
    record = sheet.add((table, row), at=place + 1, cells=cells)
    taken = {r.key for r in record.rows} & {k for n, one in enumerate(sheet.records) if n != place + 1 for k in keys_of(one)}
    assert rule in ("conflicting-rows",) or not taken, f"{sheet.path}: {taken} stands twice"
    for one in record.rows:
        one.rule = rule
    return row


def keys_of(record: Record) -> list[tuple]:
    """Keys of a record's rows."""
    return [row.key for row in record.rows if row.told]


def full_row(sheet: Sheet, table: str, told: dict) -> dict:
    """A told row with every column that the sheet's style writes."""
    names = {n for feed in sheet.style["table"] if feed["name"] == table for n in feed["columns"]}
    return dict.fromkeys(sorted(names), "") | told


def add_conflict(sheet: Sheet, table: str, nth: int, column: str, value: str) -> None:
    """Two extra rows with one key and different content."""
    row = add_extra(sheet, table, nth, "conflicting-rows")
    place = next(n for n, record in enumerate(sheet.records) if record.rows and record.rows[0].rule == "conflicting-rows")
    sheet.add((table, row | {column: value}), at=place + 1).rows[0].rule = "conflicting-rows"


def add_ragged(sheet: Sheet, nth: int, drop: int) -> None:
    """A line that lacks its last fields (drop > 0) or has one too many."""
    delimiter = sheet.style.get("delimiter", ",")
    table = sheet.style["table"][0]["name"]
    place, _ = find_base(sheet, table, nth)
    line = sheet.write_line([sheet.records[place].cells.get(h, "") for h in sheet.headers])
    raw = line.rsplit(delimiter, drop)[0] if drop else line + delimiter + "7"
    sheet.records.insert(place + 1, Record({}, [Row(table, {}, "ragged-record")], raw))


def add_open_quote(sheet: Sheet, nth: int, header: str, text: str) -> None:
    """A last line with a quotation mark that nothing closes."""
    table = sheet.style["table"][0]["name"]
    place, _ = find_base(sheet, table, nth)
    cells = sheet.records[place].cells | {header: "@"}
    raw = sheet.write_line([cells.get(h, "") for h in sheet.headers]).replace("@", '"' + text)
    sheet.records.append(Record({}, [Row(table, {}, "unclosed-quote")], raw))


def repeat_records(sheet: Sheet, places: list[int]) -> None:
    """Write some records twice."""
    for place in sorted(places, reverse=True):
        record = sheet.records[place]
        sheet.records.insert(place + 1, Record(dict(record.cells), [Row(r.table, r.told) for r in record.rows]))


def misread_cell(sheet: Sheet, table: str, nth: int, header: str, text: str, rule: str, change: dict | None = None) -> None:
    """An extra row with one cell that can't be read."""
    add_extra(sheet, table, nth, rule, change, {header: text})


def date_before_made(sheet: Sheet, table: str, nth: int, made: dict[str, str]) -> None:
    """An extra row dated a year and more before its unit was made."""
    place, base = find_base(sheet, table, nth, lambda row: made.get(row["unit_id"], "") > "2006")
    day = f"{int(made[base['unit_id']][:4]) - 2}{base[EVENT[table]][4:7]}-17"
    row = full_row(sheet, table, base) | {EVENT[table]: day}
    sheet.add((table, row), at=place + 1).rows[0].rule = "before-manufacture"
