"""The sheet of quarantined rows that goes back to its sender and returns mended: what its three added columns mean.

In: a line or a cell of a sheet. Out: whether it is one, which record it answers, the cell without the spreadsheet guard.
"""

from __future__ import annotations

import re

REASON, PLACE, ANSWER = "firekpi reason", "firekpi file and line", "firekpi row"
SHEET_COLUMNS = (REASON, PLACE, ANSWER)
LINE = "firekpi line as sent"
# A cell that begins so is run as a formula by spreadsheets; a plain number is not.
FORMULA = re.compile(r"[=+\-@\t\r]")
NUMBER = re.compile(r"[+-]?[0-9][0-9.,\s]*")
GUARDED = re.compile(r"'+[=+\-@\t\r]")


def is_sheet(first_line: str) -> bool:
    return all(column in first_line for column in (REASON, ANSWER))


def write_answer(file_id: str, record_no: int) -> str:
    return f"{file_id}:{record_no}"


def read_answer(cell: str) -> tuple[str, int] | None:
    """Which record of which file a row of a sheet answers; None for a row that was added by hand."""
    found = re.fullmatch(r"\s*([0-9a-f]{12}):([0-9]{1,12})\s*", cell)
    return (found[1], int(found[2])) if found else None


def guard(cell: str) -> str:
    """A cell that a spreadsheet will show and not run: an apostrophe before what it would take for a formula."""
    needs_guard = (FORMULA.match(cell) and not NUMBER.fullmatch(cell)) or GUARDED.match(cell)
    return f"'{cell}" if needs_guard else cell


def unguard(cell: str) -> str:
    """Undo `guard`. A spreadsheet may have taken the apostrophe as its own already; then there is nothing to undo."""
    return cell[1:] if GUARDED.match(cell) else cell
