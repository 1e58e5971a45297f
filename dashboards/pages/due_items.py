"""Items: one unit (or sample group) and one duty, with the date it runs from, its rule and the record that proves it.

In: figure.duty_now, unit_now, duty.rule, duty.sample_group, intake.file. Out: `Item` values for the Fleet, Overdue and Vessel
pages. How they are written stands in due_rows.py.
"""

from __future__ import annotations

from datetime import date
from typing import NamedTuple

import duckdb

from dashboards import words
from dashboards.blocks import Context
from dashboards.database import select_rows

BASIS_WORDS = {
    "in_service_on": "first day in service",
    "made_on": "manufacture",
    "cartridge_made_on": "the cartridge's manufacture",
}
NO_RECORD = ("in_service_on", "made_on", "cartridge_made_on")  # kinds of basis that stand in for a record
ITEMS_SQL = """
    WITH unit AS (
        SELECT imo_number, unit_id, arg_max(position_no, in_service_on) AS position_no,
            arg_max(space_name, in_service_on) AS space_name, max(last_missed_on) AS missed_on,
            arg_max(last_missed_outcome, last_missed_on) AS missed_outcome
        FROM (SELECT * REPLACE (coalesce(in_service_on, DATE '0001-01-01') AS in_service_on) FROM figure.unit_now)
        GROUP BY imo_number, unit_id),
    looked AS (SELECT DISTINCT rule_id FROM duty.satisfied_by WHERE record = 'inspection'),
    member AS (
        SELECT imo_number, group_id, list({'unit_id': unit_id, 'position_no': position_no, 'is_old': is_old}
            ORDER BY position_no NULLS LAST, unit_id) AS members
        FROM (SELECT DISTINCT g.imo_number, group_id, u.unit_id, u.position_no,
                  coalesce(u.foam_kind = 'chemical' OR u.expelled_by = 'reaction', false) AS is_old
              FROM duty.sample_group AS g JOIN figure.unit_now AS u USING (imo_number, unit_id)
              WHERE u.counted = 'in service')
        GROUP BY imo_number, group_id)
    SELECT d.imo_number, d.unit_id, d.is_group, position_no, space_name, d.duty, d.rule_id, d.basis_on, d.basis_kind, f.path,
        d.basis_line_no, d.due_on, d.state, d.days_overdue,
        if(looked.rule_id IS NOT NULL AND missed_on > coalesce(d.basis_on, DATE '0001-01-01'), missed_on, NULL) AS missed_on,
        missed_outcome, coalesce(members, []) AS members
    FROM figure.duty_now AS d
    LEFT JOIN unit USING (imo_number, unit_id)
    LEFT JOIN member ON d.is_group AND member.imo_number = d.imo_number AND member.group_id = d.unit_id
    LEFT JOIN looked USING (rule_id)
    LEFT JOIN intake.file AS f ON f.file_id = d.basis_file_id
    WHERE d.state IN ('overdue', 'unknown') OR d.due_on <= $day::DATE + $ahead_days::INTEGER
    ORDER BY d.imo_number, d.due_on NULLS FIRST, d.duty, position_no, d.unit_id"""


class Item(NamedTuple):
    """One line of a due list."""

    imo_number: str
    unit_id: str
    is_group: bool
    position_no: str | None
    space_name: str | None
    duty: str
    rule_id: str
    basis_on: date | None
    basis_kind: str | None
    path: str | None
    basis_line_no: int | None
    due_on: date | None
    state: str
    days_overdue: int | None
    missed_on: date | None
    missed_outcome: str | None
    members: list[dict]

    @property
    def place(self) -> str:
        """Position and space, as the vessel names them; of a sample group, its units with theirs."""
        if self.is_group:
            return ", ".join(say_member(member) for member in self.members)
        return ", ".join(part for part in (self.position_no, self.space_name) if part)

    @property
    def is_without_record(self) -> bool:
        """True where no record of the duty exists, so that the first day in service or of manufacture stands in."""
        return self.basis_kind in NO_RECORD

    @property
    def basis(self) -> str:
        """What the date runs from, and a later look that did not see the unit."""
        if self.basis_on is None:
            return "nothing to count from"
        tried = f"; tried {words.say_date(self.missed_on)}, {words.say_slug(self.missed_outcome)}" if self.missed_on else ""
        return say_basis(self.basis_kind, self.basis_on) + tried

    @property
    def unit(self) -> str:
        """The unit's number, or the group it stands for: the one unit of a group of one by name."""
        if not self.is_group:
            return self.unit_id
        if len(self.members) == 1:
            return f"{self.members[0]['unit_id']}, alone in its group"
        kind = name_group(self.unit_id)
        return f"one of {len(self.members)}: {kind}" if self.members else f"one of: {kind}"


def say_basis(kind: str | None, on: date) -> str:
    """'inspection, 3 Aug 2026'; 'no such record; manufacture 3 Aug 2026'."""
    said = BASIS_WORDS.get(kind or "", words.say_slug(kind))
    return f"no such record; {said} {words.say_date(on)}" if kind in NO_RECORD else f"{said}, {words.say_date(on)}"


def name_group(group_id: str) -> str:
    """'foam, portable, 9 l, 2014': what a sample group is of."""
    parts = (part.strip() for part in group_id.split("·"))
    return ", ".join(words.SPECIAL.get(part, tie_unit(part)) for part in parts if part.strip("-–"))


def tie_unit(part: str) -> str:
    """'9.0 l' on one line; words may break."""
    return part.replace(" ", words.THIN) if part[:1].isdigit() else part


def say_member(member: dict) -> str:
    """'ASQ-100007 at FE-07', and whether its kind is obsolete."""
    place = f" at {member['position_no']}" if member["position_no"] else ""
    return f"{member['unit_id']}{place}{' (obsolete kind)' if member['is_old'] else ''}"


def read_items(con: duckdb.DuckDBPyConnection, context: Context, ahead_days: int) -> list[Item]:
    """Overdue and unknown items, and those in time that fall due within `ahead_days`; ordered by vessel, then due date."""
    return list(map(Item._make, select_rows(con, ITEMS_SQL, day=context.as_of, ahead_days=ahead_days)))
