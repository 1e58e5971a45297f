"""The CSV twin of a table: every row, plain values, a column for each part of a cell. In: a `Table`. Out: text."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from dashboards import words
from dashboards.blocks import Anchor, Link, Run, Table
from dashboards.tables import PARTS, take_number
from pipeline.spreadsheet import guard

WHOLE = {"file_line", "found", "interval", "percent_interval"}  # their parts are what the CSV has
ALIKE = {str, int, bool, float, Decimal, date}  # of one of these types what is equal is written alike


def write_plain(value: Any) -> str:
    """One value as CSV text: ISO dates, plain numbers, empty for nothing."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (date, datetime)):
        return value.isoformat()
    if isinstance(value, (float, Decimal)):
        text = f"{value:.4f}".rstrip("0").rstrip(".")
        return "0" if text in ("", "-0") else text
    if isinstance(value, (Link, Anchor)):
        return value.text
    if isinstance(value, Run):
        return "".join(write_plain(part) for part in value.parts)
    if isinstance(value, tuple):
        return " ".join(write_plain(part) or "-" for part in value)
    return str(value)


def split_value(kind: str, value: Any) -> tuple:
    """A cell of several numbers as one CSV cell each."""
    if kind == "share":
        count, of = value
        return count, of, None if count is None or not of else 100 * count / of
    if kind == "part":
        count, of = value
        return count, of, None if count is None or not of or of < words.LEAST_OF else 100 * count / of
    if kind == "part_date":
        day, precision = value
        return (day and day.isoformat()[: {"year": 4, "month": 7}.get(precision, 10)],)
    return value if kind in PARTS else (value,)


def write_column(values: Sequence[Any]) -> Iterable[str]:
    """A column of a CSV. A value that stands there often is written once, where values that are equal have one type and so one text."""
    kinds = set(map(type, values)) - {type(None)}
    if len(kinds) > 1 or not kinds <= ALIKE:
        return [guard(write_plain(value)) for value in values]
    texts = {value: guard(write_plain(value)) for value in set(values)}
    return map(texts.__getitem__, values)


def split_column(kind: str, values: Sequence[Any]) -> list[Sequence[Any]]:
    """The columns of a CSV that a column of the page becomes, numbers without the lists behind them and links without their addresses."""
    if not ALIKE.union((type(None),)).issuperset(map(type, values)):
        values = [value.text if type(value) in (Link, Anchor) else take_number(value) for value in values]
    if kind not in PARTS and kind != "part_date":
        return [values]
    return list(zip(*(values if kind in WHOLE else (split_value(kind, value) for value in values)), strict=True))


def write_csv(table: Table) -> str:
    """The CSV twin: every row of the table, in its order."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    picked = [(i, column) for i, column in enumerate(table.columns) if not column.is_page_only]
    writer.writerow([guard(part.format(c.key)) for _, c in picked for part in PARTS.get(c.kind, ("{}",))])
    parts = (part for i, c in picked for part in split_column(c.kind, [row[i] for row in table.rows]))
    writer.writerows(zip(*map(write_column, parts), strict=True))
    return out.getvalue()
