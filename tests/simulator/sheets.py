"""Sheets of records and what becomes of each row. In: canonical rows, blemishes. Out: files, and the counts to expect."""

from __future__ import annotations

import csv
import io
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from .styles import KEYS, fill_cells, list_headers


@dataclass
class Row:
    """One canonical row that a record tells: its columns, and the rule that it breaks if any."""

    table: str
    told: dict[str, str]
    rule: str = ""

    @property
    def key(self) -> tuple:
        """Table and key of the row."""
        return (self.table, *(self.told[name] for name in KEYS[self.table]))


@dataclass
class Record:
    """One record: its cells by header, or its raw line where it is broken."""

    cells: dict[str, str]
    rows: list[Row]
    raw: str = ""


@dataclass
class Sheet:
    """One file."""

    path: str
    received_at: str
    style: dict
    records: list[Record] = field(default_factory=list)
    head: list[str] = field(default_factory=list)
    foot: str = ""  # may hold {count}, the number of records

    def add(self, *rows: tuple[str, dict], at: int | None = None, cells: dict[str, str] | None = None) -> Record:
        """Add a record that tells these (table, canonical row) pairs; `cells` overrides what it says."""
        filled, told = fill_cells(self.style, list(rows))
        order = {feed["name"]: n for n, feed in enumerate(self.style["table"])}
        tables = sorted((table for table, _ in rows), key=order.__getitem__)
        record = Record(filled | (cells or {}), [Row(t, c) for t, c in zip(tables, told, strict=True)])
        self.records.insert(len(self.records) if at is None else at, record)
        return record

    @property
    def headers(self) -> list[str]:
        """Its header row."""
        return list_headers(self.style)

    def write_line(self, cells: list[str]) -> str:
        """One line in the sheet's form."""
        out = io.StringIO()
        csv.writer(out, delimiter=self.style.get("delimiter", ","), lineterminator="").writerow(cells)
        return out.getvalue()

    def write(self, folder: Path) -> None:
        """Write the file."""
        headers = self.headers
        body = [r.raw or self.write_line([r.cells.get(h, "") for h in headers]) for r in self.records]
        lines = [*self.head, self.write_line(headers), *body, *([self.foot.format(count=len(body))] if self.foot else [])]
        end = "\r\n" if self.style.get("delimiter") == ";" else "\n"
        path = folder / self.path
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes((end.join(lines) + end).encode(self.style.get("encoding", "utf-8")))


def count_rows(sheets: list[Sheet]) -> tuple[list[tuple], list[tuple]]:
    """What to expect of each file: (path, read, loaded, quarantined, duplicate), and (path, table, rule, rows) quarantined.

    Files count in the order received, ties by path. A row equal to the standing one of its key is a duplicate; a
    different one replaces it and is loaded.
    """
    standing: dict[tuple, dict] = {}
    totals, broken = [], Counter()
    for sheet in sorted(sheets, key=lambda s: (s.received_at, s.path)):
        fate = Counter()
        for row in (row for record in sheet.records for row in record.rows):
            if row.rule:
                fate["quarantined"] += 1
                broken[sheet.path, row.table, row.rule] += 1
            elif standing.get(row.key) == row.told:
                fate["duplicate"] += 1
            else:
                fate["loaded"] += 1
                standing[row.key] = row.told
        totals.append((sheet.path, fate.total(), fate["loaded"], fate["quarantined"], fate["duplicate"]))
    return sorted(totals), sorted((*key, rows) for key, rows in broken.items())
