"""What a spreadsheet would run: guarded with an apostrophe in every CSV we write, and taken back where such a CSV is read.

In: a cell's text. Out: the text to write, or the text as it was.
"""

from __future__ import annotations

import re

# A cell that begins so is run as a formula by one spreadsheet or another; a plain number is not. The list with the wide forms:
# OWASP, "CSV Injection" (from memory: verify).
FORMULA = re.compile(r"[=+\-@\t\r\n＝＋－＠]")
NUMBER = re.compile(r"[+-]?[0-9][0-9.,\s]*")
GUARDED = re.compile(r"'+[=+\-@\t\r\n＝＋－＠]")


def guard(cell: str) -> str:
    """A cell that a spreadsheet will show and not run: an apostrophe before what it would take for a formula.

    A cell that begins like a guarded one gets one more, so that `unguard` always gives what stood there.
    """
    needs_guard = (FORMULA.match(cell) and not NUMBER.fullmatch(cell)) or GUARDED.match(cell)
    return f"'{cell}" if needs_guard else cell


def unguard(cell: str) -> str:
    """Undo `guard`. A spreadsheet may have taken the apostrophe as its own already; then there is nothing to undo."""
    return cell[1:] if GUARDED.match(cell) else cell
