"""The data of the vessel pages: one query a kind for the whole fleet, then grouped.

In: figure.unit_now, duty_now, overdue_monthly, freshness, record.finding.
Out: `read_all`, a function from an IMO number to `VesselData`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import duckdb

from dashboards import standing, words
from dashboards.blocks import Context
from dashboards.database import group_rows, select_rows
from dashboards.pages.due_items import Item, read_items
from dashboards.standing import Comparison

Row = Any
UNITS_SQL = """
    SELECT imo_number, unit_id, counted, position_no, space_name, space_category, agent, form, charge_l, charge_kg, made_on,
        made_on_precision, last_inspected_on, last_serviced_on, open_findings, overdue_duties
    FROM figure.unit_now ORDER BY imo_number, counted <> 'in service', position_no NULLS LAST, unit_id, in_service_on"""
FINDINGS_SQL = """
    SELECT n.imo_number, d.unit_id, d.found_on, d.component, d.defect, d.severity, d.rust_grade, d.action, f.path, d.record_no
    FROM record.finding AS d
    JOIN (SELECT DISTINCT imo_number, unit_id FROM figure.unit_now) AS n USING (unit_id)
    LEFT JOIN intake.file AS f USING (file_id)
    WHERE d.found_on <= $day AND (d.closed_on IS NULL OR d.closed_on > $day)
    ORDER BY n.imo_number, d.found_on, d.unit_id, d.component, d.defect, f.path, d.record_no"""
FRESH_SQL = "SELECT imo_number, last_record_on, days_since FROM figure.freshness ORDER BY imo_number"


@dataclass(frozen=True)
class VesselData:
    """What one vessel's page shows."""

    units: list[Row]
    items: list[Item]
    findings: list[Row]
    months: list[Row]
    duties: list[Comparison]
    fresh: Row | None

    @property
    def standing(self) -> Comparison | None:
        """The comparison over the duties that make a unit overdue."""
        return next((c for c in self.duties if c.duty == "*"), None)


def read_all(con: duckdb.DuckDBPyConnection, context: Context, ahead_days: int) -> Callable[[str], VesselData]:
    """Query the fleet once; the returned function picks one vessel."""
    units = group_rows(select_rows(con, UNITS_SQL), "imo_number")
    findings = group_rows(select_rows(con, FINDINGS_SQL, day=context.as_of), "imo_number")
    items = group_rows(read_items(con, context, ahead_days), "imo_number")
    fresh = {row.imo_number: row for row in select_rows(con, FRESH_SQL)}
    months: dict[str, dict] = {}
    for (imo, duty), rows in standing.read_months(con).items():
        months.setdefault(imo, {})[imo, duty] = rows

    def pick(imo: str) -> VesselData:
        mine = months.get(imo, {})
        return VesselData(
            units.get(imo, []), items.get(imo, []), findings.get(imo, []), mine.get((imo, "*"), []),
            standing.compare_duties(mine, imo, context.as_of), fresh.get(imo),
        )  # fmt: skip

    return pick


def write_units(data: VesselData) -> tuple[tuple, ...]:
    """The register, a row for each unit."""
    unknown = {i.unit_id for i in data.items if i.state == "unknown"}
    return tuple(write_unit(unit, unit.unit_id in unknown) for unit in data.units)


def write_unit(unit: Row, is_unknown: bool) -> tuple:
    """One unit as a row of the register; a unit without a known due date is never shown as in time."""
    state = "overdue" if unit.overdue_duties else "unknown" if is_unknown else "in time"
    charge = words.say_charge(unit.charge_l, unit.charge_kg) + (", wheeled" if unit.form == "wheeled" else "")
    return (
        unit.unit_id,
        state if unit.counted == "in service" else unit.counted,
        unit.position_no,
        unit.space_name,
        words.say_slug(unit.space_category),
        words.say_slug(unit.agent),
        charge,
        (unit.made_on, unit.made_on_precision),
        unit.last_inspected_on,
        unit.last_serviced_on,
        unit.open_findings,
        unit.overdue_duties,
    )
