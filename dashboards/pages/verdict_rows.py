"""Verdicts as rows: what stands against a unit, a station or a vessel's numbers, each with rule, limit, file and line.

In: figure.verdict, placement_now, station_now, number_now, duty.provision. Out: rows by vessel, and the tables of the Fitness
and Vessel pages.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import duckdb

from dashboards import words
from dashboards.blocks import Context, Link, Table, name_columns
from dashboards.database import select_rows
from dashboards.pages.list_numbers import count_number

Row = Any
MOST_ROWS = 40
VERDICTS_FROM = """
    SELECT v.imo_number, v.unit_id, n.counted, n.position_no, n.space_name, v.verdict, v.reason, v.measure, v.value, v.limit_value,
        v.unit, v.seen_on, v.rule_id, p.certainty, p.title, f.path, v.line_no, v.record_no
    FROM (SELECT * FROM figure.verdict WHERE verdict <> 'placement' UNION ALL BY NAME
          SELECT * EXCLUDE (breach) FROM figure.placement_now) AS v
    JOIN duty.provision AS p USING (rule_id) LEFT JOIN intake.file AS f USING (file_id)
    JOIN (SELECT imo_number, unit_id, min(counted) AS counted, min(position_no) AS position_no, min(space_name) AS space_name
          FROM figure.unit_now GROUP BY imo_number, unit_id) AS n ON n.imo_number = v.imo_number AND n.unit_id = v.unit_id"""
VERDICTS_SQL = f"{VERDICTS_FROM} ORDER BY v.imo_number, v.unit_id, v.rule_id, v.seen_on, v.reason, f.path, v.line_no"
STATIONS_SQL = """
    SELECT s.imo_number, s.position_no, s.space_name, s.state, s.reason, s.unit_id, f.path, s.line_no
    FROM figure.station_now AS s LEFT JOIN intake.file AS f USING (file_id) WHERE s.state <> 'filled'
    ORDER BY s.imo_number, s.position_no NULLS LAST, s.unit_id"""
NUMBERS_SQL = """
    SELECT n.imo_number, p.title, n.measure, n.agent, n.charge_l, n.charge_kg, n.required, n.held, n.usable, n.short_by, n.state, n.reason,
        n.rule_id, p.certainty
    FROM figure.number_now AS n JOIN duty.provision AS p USING (rule_id) ORDER BY n.imo_number, p.rule_no, n.agent, n.charge_l, n.charge_kg"""


def read_verdicts(con: duckdb.DuckDBPyConnection) -> list[Row]:
    """Every reason against a unit, vessel by vessel."""
    return select_rows(con, VERDICTS_SQL)


def pick(rows: Sequence[Row], *verdicts: str) -> list[Row]:
    """Those of these verdicts."""
    return [row for row in rows if row.verdict in verdicts]


def count_units(rows: Sequence[Row]) -> int:
    """Units, not reasons: one unit can have several."""
    return len({(row.imo_number, row.unit_id) for row in rows})


def link_rule(row: Row) -> Link:
    """The certainty of the rule, leading to it on the Method page."""
    return Link(f"[{row.certainty}] {row.rule_id}", f"method.html#rule-{row.rule_id}")


def list_verdicts(name: str, what: str, rows: Sequence[Row], context: Context, with_vessel: bool = True) -> Table:
    """Reasons against units, one a row."""
    vessel = "vessel=Vessel:link; " if with_vessel else ""
    columns = name_columns(
        f"unit=Unit:unit; reason=Reason:long; {vessel}place=Position, space:long; seen_on=Seen on:date; rule=Rule:link; "
        "path=File and line:file_line; counted=Counted:text twin; imo_number=IMO number:code twin; unit_id=Unit:text twin; "
        "rule_id=Rule:text twin; measure=Measure:text twin; value=Value:number twin; limit_value=Limit:number twin; unit_of=Unit of measure:text twin"
    )
    cells = tuple(
        (
            context.link_unit(row.unit_id, row.unit_id if row.counted == "in service" else f"{row.unit_id}, {row.counted}"),
            row.reason,
            *((context.link_vessel(row.imo_number),) if with_vessel else ()),
            ", ".join(part for part in (row.position_no, row.space_name) if part),
            row.seen_on,
            link_rule(row),
            (row.path, row.line_no),
            row.counted,
            row.imo_number,
            row.unit_id,
            row.rule_id,
            row.measure,
            row.value,
            row.limit_value,
            row.unit,
        )
        for row in rows
    )
    caption = f"{what}: {words.say_count(count_units(rows), 'unit')}, {words.say_count(len(rows), 'reason')}"
    return Table(name, caption, columns, cells, empty="Nothing on record.", shown=MOST_ROWS)


def list_stations(rows: Sequence[Row], context: Context, with_vessel: bool = True) -> Table:
    """Stations of the fire plan that are not simply filled, and units that stand on no station."""
    vessel = "vessel=Vessel:link; " if with_vessel else ""
    columns = name_columns(
        f"position_no=Position:code; state=State; {vessel}space=Space; reason=Why:long; unit=Unit:unit; path=File and line:file_line; "
        "imo_number=IMO number:code twin"
    )
    cells = tuple(
        (
            row.position_no,
            row.state,
            *((context.link_vessel(row.imo_number),) if with_vessel else ()),
            row.space_name,
            row.reason,
            context.link_unit(row.unit_id) if row.unit_id else "",
            (row.path, row.line_no),
            row.imo_number,
        )
        for row in rows
    )
    said = f"{words.say_capital(words.say_count(len(rows), 'station'))} or units apart from the fire plan"
    return Table(
        "stations",
        said,
        columns,
        cells,
        empty="No gap in a fire plan on record; where no plan is on record, none can be seen.",
        shown=MOST_ROWS,
    )


def list_numbers(rows: Sequence[Row], context: Context, with_vessel: bool = True) -> Table:
    """What the rules ask a vessel to hold, against what it holds."""
    vessel = "vessel=Vessel:link; " if with_vessel else ""
    columns = name_columns(
        f"{vessel}title=What; agent=Agent; required=Required:count; held=Held:count; usable=Of use:count; lines=Lines of counts:count; "
        "short_by=Short by:count; state=State; reason=Remark:long; rule=Rule:link; imo_number=IMO number:code twin; rule_id=Rule:text twin"
    )
    cells = tuple(
        (
            *((context.link_vessel(row.imo_number),) if with_vessel else ()),
            words.say_capital(row.title),
            words.say_slug(row.agent) if row.agent else "",
            row.required,
            *count_number(row, context),
            row.short_by,
            row.state,
            row.reason,
            link_rule(row),
            row.imo_number,
            row.rule_id,
        )
        for row in rows
    )
    return Table(
        "numbers", "Numbers and spares against the rules", columns, cells, empty="No rule about numbers binds.", shown=MOST_ROWS
    )
