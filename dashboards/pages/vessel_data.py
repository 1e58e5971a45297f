"""The data of the vessel pages: one query a kind for the whole fleet, then grouped.

In: figure.unit_now, duty_now, overdue_monthly, freshness, agent_mix, record.finding, record.service.
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
from dashboards.pages import bare_records, rule_tables, verdict_rows
from dashboards.pages.due_items import Item, read_items
from dashboards.standing import Comparison

Row = Any
YEAR_DAYS = 365
UNITS_SQL = """
    SELECT imo_number, unit_id, counted, position_no, space_name, space_category, agent, form, charge_l, charge_kg, made_on,
        made_on_precision, last_inspected_on, last_serviced_on, open_findings, worst_open_severity,
        overdue_duties
    FROM figure.unit_now ORDER BY imo_number, counted <> 'in service', position_no NULLS LAST, unit_id, in_service_on"""
FINDINGS_SQL = """
    SELECT n.imo_number, d.unit_id, n.counted, d.found_on, d.component, d.defect, d.severity, d.rust_grade, d.action, f.path,
        d.line_no,
        (SELECT max(serviced_on) FROM record.service AS s
         WHERE s.unit_id = d.unit_id AND s.outcome = 'satisfactory' AND s.serviced_on > d.found_on AND s.serviced_on <= $day
        ) AS serviced_on
    FROM record.finding AS d
    JOIN (SELECT imo_number, unit_id, if(bool_or(counted = 'in service'), 'in service', min(counted)) AS counted
          FROM figure.unit_now GROUP BY imo_number, unit_id) AS n USING (unit_id)
    LEFT JOIN intake.file AS f USING (file_id)
    WHERE d.found_on <= $day AND (d.closed_on IS NULL OR d.closed_on > $day)
    ORDER BY n.imo_number, list_position(['unfit', 'major', 'minor'], d.severity) NULLS LAST, d.found_on, d.unit_id, d.component,
        d.defect, f.path, d.line_no"""
FOUND_SQL = """
    SELECT imo_number, sum(open_findings) AS open_findings, count(*) FILTER (open_findings > 0) AS found,
        count(*) FILTER (worst_open_severity = 'unfit') AS unfit, count(*) FILTER (worst_open_severity = 'major') AS major,
        count(*) FILTER (worst_open_severity = 'minor') AS minor
    FROM figure.unit_now WHERE counted = 'in service' GROUP BY imo_number"""
MIX_SQL = """
    SELECT imo_number, coalesce(agent, 'not stated') AS agent, units, obsolete_units FROM figure.agent_mix WHERE units > 0
    ORDER BY imo_number, agent"""
FRESH_SQL = "SELECT imo_number, last_record_on, days_since FROM figure.freshness ORDER BY imo_number"


@dataclass(frozen=True)
class Found:
    """Open findings of the units in service, and units by the worst of theirs."""

    open_findings: int = 0
    found: int = 0
    unfit: int = 0
    major: int = 0
    minor: int = 0


@dataclass(frozen=True)
class VesselData:
    """What one vessel's page shows: `items` are overdue, unknown or due within 90 days, `year` holds those due within a year, too."""

    units: list[Row]
    items: list[Item]
    findings: list[Row]
    months: list[Row]
    duties: list[Comparison]
    fresh: Row | None
    found: Found
    mix: list[Row]
    is_bare: bool
    verdicts: list[Row]
    stations: list[Row]
    numbers: list[Row]
    loosened: list[Row]
    year: list[Item]

    @property
    def standing(self) -> Comparison | None:
        """The comparison over the duties that make a unit overdue."""
        return next((c for c in self.duties if c.duty == "*"), None)


def read_all(con: duckdb.DuckDBPyConnection, context: Context, ahead_days: int) -> Callable[[str], VesselData]:
    """Query the fleet once; the returned function picks one vessel."""
    units = group_rows(select_rows(con, UNITS_SQL), "imo_number")
    findings = group_rows(select_rows(con, FINDINGS_SQL, day=context.as_of), "imo_number")
    year = read_items(con, context, YEAR_DAYS)
    near = [i for i in year if i.state != "in time" or (i.due_on - context.as_of).days <= ahead_days]
    items, year_of = group_rows(near, "imo_number"), group_rows(year, "imo_number")
    fresh = {row.imo_number: row for row in select_rows(con, FRESH_SQL)}
    found = {row.imo_number: Found(*row[1:]) for row in select_rows(con, FOUND_SQL)}
    bare = bare_records.find_bare(con)
    verdicts = group_rows(verdict_rows.read_verdicts(con), "imo_number")
    stations = group_rows(select_rows(con, verdict_rows.STATIONS_SQL), "imo_number")
    numbers = group_rows(select_rows(con, verdict_rows.NUMBERS_SQL), "imo_number")
    mix = group_rows(select_rows(con, MIX_SQL), "imo_number")
    loosened = rule_tables.read_loosened(con, context)
    months: dict[str, dict] = {}
    for (imo, duty), rows in standing.read_months(con).items():
        months.setdefault(imo, {})[imo, duty] = rows

    def pick(imo: str) -> VesselData:
        mine = months.get(imo, {})
        return VesselData(
            units.get(imo, []), items.get(imo, []), findings.get(imo, []), mine.get((imo, "*"), []),
            standing.compare_duties(mine, imo, context.as_of, context.book), fresh.get(imo),
            found.get(imo, Found()), mix.get(imo, []), imo in bare, verdicts.get(imo, []),
            stations.get(imo, []), numbers.get(imo, []), loosened.get(imo, []), year_of.get(imo, []),
        )  # fmt: skip

    return pick


def write_units(data: VesselData, context: Context) -> tuple[tuple, ...]:
    """The register, a row for each unit."""
    unknown = {i.unit_id for i in data.items if i.state == "unknown"}
    return tuple(write_unit(unit, unit.unit_id in unknown, context) for unit in data.units)


def write_unit(unit: Row, is_unknown: bool, context: Context) -> tuple:
    """One unit as a row of the register; a unit without a known due date is never shown as in time."""
    state = "overdue" if unit.overdue_duties else "unknown" if is_unknown else "in time"
    charge = words.say_charge(unit.charge_l, unit.charge_kg) + (", wheeled" if unit.form == "wheeled" else "")
    return (
        context.link_unit(unit.unit_id),
        state if unit.counted == "in service" else unit.counted,
        (unit.open_findings, unit.worst_open_severity),
        unit.position_no,
        unit.space_name,
        words.say_slug(unit.space_category),
        words.say_slug(unit.agent),
        charge,
        (unit.made_on, unit.made_on_precision),
        unit.last_inspected_on,
        unit.last_serviced_on,
        unit.overdue_duties,
    )
