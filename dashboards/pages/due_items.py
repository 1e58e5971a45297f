"""Items: one unit (or sample group) and one duty, with the date it runs from and the record that proves it.

In: figure.duty_now, unit_now, intake.file. Out: rows for the tables of the Overdue and Vessel pages.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date

import duckdb

from dashboards import words
from dashboards.blocks import Column, Context, name_columns
from dashboards.database import select_rows

BASIS_WORDS = {"in_service_on": "first day in service", "made_on": "manufacture", "inspection": "onboard check"}
ITEMS_SQL = """
    WITH unit AS (
        SELECT imo_number, unit_id, first(position_no ORDER BY in_service_on DESC) AS position_no,
            first(space_name ORDER BY in_service_on DESC) AS space_name
        FROM figure.unit_now GROUP BY imo_number, unit_id)
    SELECT d.imo_number, d.unit_id, position_no, space_name, d.duty, r.counts, d.basis_on, d.basis_kind, f.path,
        d.basis_record_no, d.due_on, d.state, d.days_overdue
    FROM figure.duty_now AS d
    LEFT JOIN unit USING (imo_number, unit_id)
    LEFT JOIN duty.rule AS r USING (rule_id)
    LEFT JOIN intake.file AS f ON f.file_id = d.basis_file_id
    WHERE d.state IN ('overdue', 'unknown') OR d.due_on <= $day::DATE + $ahead_days::INTEGER
    ORDER BY d.imo_number, d.due_on NULLS FIRST, d.duty, position_no, d.unit_id"""


@dataclass(frozen=True)
class Item:
    """One line of a due list."""

    imo_number: str
    unit_id: str
    position_no: str | None
    space_name: str | None
    duty: str
    counts: str
    basis_on: date | None
    basis_kind: str | None
    path: str | None
    basis_record_no: int | None
    due_on: date | None
    state: str
    days_overdue: int | None

    @property
    def place(self) -> str:
        """Position and space, as the vessel names them."""
        return ", ".join(part for part in (self.position_no, self.space_name) if part)

    @property
    def basis(self) -> str:
        """What the date runs from."""
        if self.basis_on is None:
            return "nothing to count from"
        return f"{BASIS_WORDS.get(self.basis_kind or '', words.say_slug(self.basis_kind))}, {words.say_date(self.basis_on)}"

    @property
    def record(self) -> str:
        """File and record of the basis."""
        return f"{self.path}, record {self.basis_record_no}" if self.path else words.NONE

    @property
    def unit(self) -> str:
        """The unit's number, or the group it stands for."""
        if self.counts != "group":
            return self.unit_id
        parts = (part.strip() for part in self.unit_id.split("·"))
        return "one of: " + ", ".join(words.SPECIAL.get(part, part) for part in parts if part.strip("-–"))


def say_positions(positions: list[str]) -> str:
    """FE-01 to FE-07, FE-09: neighbours by number are drawn together."""
    runs: list[list[str]] = []
    for position in sorted(positions, key=split_position):
        head, number = split_position(position)
        if runs and split_position(runs[-1][-1]) == (head, number - 1):
            runs[-1].append(position)
        else:
            runs.append([position])
    parts = [run if len(run) < 3 else [f"{run[0]} to {run[-1]}"] for run in runs]
    return ", ".join(part for run in parts for part in run)


def split_position(position: str) -> tuple[str, int]:
    """The text and the number it ends with (-1 where it has none), so that 9 comes before 10."""
    match = re.fullmatch(r"(.*?)(\d{1,9})", position)
    return (match[1], int(match[2])) if match else (position, -1)


def read_items(con: duckdb.DuckDBPyConnection, context: Context, ahead_days: int) -> list[Item]:
    """Overdue and unknown items, and those in time that fall due within `ahead_days`; ordered by vessel, then due date."""
    return [Item(*row) for row in select_rows(con, ITEMS_SQL, day=context.as_of, ahead_days=ahead_days)]


def list_columns(with_vessel: bool, with_lateness: bool) -> tuple[Column, ...]:
    """Columns of an item table."""
    vessel = name_columns("vessel=Vessel:link") if with_vessel else ()
    late = name_columns("days_overdue=Days overdue:count") if with_lateness else ()
    return (
        *vessel, Column("unit", "Unit or group", "unit"), Column("place", "Position, space"), Column("duty", "Duty"),
        Column("counted_from", "Counted from"), Column("due_on", "Due", "date"), *late, Column("state", "State", "state"),
        Column("record", "Record", "path"),
    )  # fmt: skip


def write_row(item: Item, context: Context | None, with_lateness: bool) -> tuple:
    """One item as a row of such a table; a context adds the vessel."""
    vessel = (context.link_vessel(item.imo_number),) if context else ()
    late = (item.days_overdue,) if with_lateness else ()
    return (*vessel, item.unit, item.place, words.say_duty(item.duty), item.basis, item.due_on, *late, item.state, item.record)
