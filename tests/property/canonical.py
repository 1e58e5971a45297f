"""A small fleet in canonical form, as plain dicts, and its way onto disk.

In: rows of vessel, unit, inspection, service, finding and spare (keys as in pipeline/contract/*.toml; dates as `date`,
numbers as `Decimal`, empty as None). Out: CSV files that need no dialect, whole or split over subfolders.
"""

import csv
import random
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

Row = dict[str, object]
IMO_WEIGHTS = (7, 6, 5, 4, 3, 2)
KEYS = {
    "vessel": ("imo_number",),
    "unit": ("unit_id", "imo_number", "in_service_on"),
    "inspection": ("unit_id", "inspected_on"),
    "service": ("unit_id", "serviced_on", "kind"),
    "finding": ("unit_id", "found_on", "component", "defect"),
    "spare": ("imo_number", "counted_on", "agent", "charge_l", "charge_kg"),
}
# These must be in a file even when no row fills them: without them a header-only file would not be that table.
NEEDED = {
    "vessel": ("imo_number",),
    "unit": ("unit_id", "imo_number"),
    "inspection": ("unit_id", "imo_number", "inspected_on"),
    "service": ("unit_id", "imo_number", "serviced_on", "kind"),
    "finding": ("unit_id", "imo_number", "found_on", "component", "defect"),
    "spare": ("imo_number", "counted_on", "agent"),
}


@dataclass(frozen=True)
class Fleet:
    """Canonical rows and the day they are judged on."""

    as_of: date
    vessel: Sequence[Row]
    unit: Sequence[Row]
    inspection: Sequence[Row] = ()
    service: Sequence[Row] = ()
    finding: Sequence[Row] = ()
    spare: Sequence[Row] = ()

    def list_tables(self) -> dict[str, Sequence[Row]]:
        return {name: getattr(self, name) for name in KEYS}

    def count_rows(self) -> int:
        return sum(len(rows) for rows in self.list_tables().values())


def complete_imo_number(six_digits: int) -> str:
    """Six digits -> seven: the last digit of the weighted sum is the check digit (see tests/published)."""
    digits = [int(digit) for digit in f"{six_digits:06d}"]
    return f"{six_digits:06d}{sum(w * d for w, d in zip(IMO_WEIGHTS, digits, strict=True)) % 10}"


def merge_fleets(fleets: Sequence[Fleet]) -> Fleet:
    """Several fleets judged on the same day -> one; their vessels and units must not share identities."""
    days = {fleet.as_of for fleet in fleets}
    if len(days) != 1:
        raise ValueError(f"fleets of one batch must share one as_of, got {sorted(days)}")
    tables = {name: [row for fleet in fleets for row in getattr(fleet, name)] for name in KEYS}
    return Fleet(as_of=days.pop(), **tables)


def write_canonical(folder: Path, fleet: Fleet) -> None:
    """One CSV per table; an empty table of events is left out, a wholly empty column too."""
    for table, rows in fleet.list_tables().items():
        if rows or table in ("vessel", "unit"):
            write_table(folder / f"{table}.csv", table, rows)


def write_split(folder: Path, fleet: Fleet, seed: int, parts: int = 3) -> None:
    """The same rows in another order, dealt over `parts` subfolders."""
    shuffler = random.Random(seed)
    for table, rows in fleet.list_tables().items():
        shuffled = list(rows)
        shuffler.shuffle(shuffled)
        for part in range(parts):
            share = shuffled[part::parts]
            if share:
                write_table(folder / f"part_{part}" / f"{table}.csv", table, share)


def write_table(path: Path, table: str, rows: Sequence[Row]) -> None:
    filled = {column for row in rows for column, value in row.items() if value is not None}
    columns = [*NEEDED[table], *sorted(filled - set(NEEDED[table]))]
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w", encoding="utf-8", newline="") as handle:
        writer = csv.writer(handle)
        writer.writerow(columns)
        writer.writerows([format_cell(row.get(column)) for column in columns] for row in rows)


def format_cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    return value.isoformat() if isinstance(value, date) else str(value)
