"""The sheet of quarantined rows that goes back to its sender and returns mended: what its three added columns mean.

In: a line or a cell of a sheet. Out: whether it is one, which record it answers.
"""

from __future__ import annotations

import re

REASON, PLACE, ANSWER = "firekpi reason", "firekpi file and line", "firekpi row"
SHEET_COLUMNS = (REASON, PLACE, ANSWER)
LINE = "firekpi line as sent"


def is_sheet(first_line: str) -> bool:
    return all(column in first_line for column in (REASON, ANSWER))


def write_answer(file_id: str, record_no: int) -> str:
    return f"{file_id}:{record_no}"


def read_answer(cell: str) -> tuple[str, int] | None:
    """Which record of which file a row of a sheet answers; None for a row that was added by hand."""
    found = re.fullmatch(r"\s*([0-9a-f]{12}):([0-9]{1,12})\s*", cell)
    return (found[1], int(found[2])) if found else None
