"""Lists of units by how they are counted, by agent, by what was found on them.

In: figure.unit_now, record.unit, record.finding, figure.placement_now. Out: lines of lists. Of a unit with two stays on one vessel
the later one counts, as in figure.agent_mix.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import duckdb

from dashboards import words
from dashboards.blocks import Context
from dashboards.database import select_rows
from dashboards.pages.list_book import Entry, Named
from dashboards.pages.unit_names import name_safely

Row = Any
UNITS_SQL = """
    SELECT n.imo_number, n.unit_id, n.counted, n.position_no, n.space_name, coalesce(n.agent, 'not stated') AS agent, n.agent_detail,
        n.foam_kind, n.in_service_on, n.open_findings, n.worst_open_severity, f.path, n.line_no,
        coalesce(n.foam_kind = 'chemical' OR n.expelled_by = 'reaction', false) AS is_obsolete,
        (n.imo_number, n.unit_id) IN (SELECT (imo_number, unit_id) FROM figure.placement_now WHERE breach = 'unsuitable') AS is_unsuitable,
        r.refillable_on_board IS NULL AS is_refill_unknown
    FROM figure.unit_now AS n LEFT JOIN intake.file AS f USING (file_id)
    LEFT JOIN record.unit AS r ON r.file_id = n.file_id AND r.record_no = n.record_no AND r.unit_id = n.unit_id
    QUALIFY row_number() OVER (PARTITION BY n.imo_number, n.unit_id, n.counted
        ORDER BY coalesce(n.in_service_on, n.made_on) DESC, n.in_service_on DESC NULLS LAST) = 1
    ORDER BY n.imo_number, n.counted, n.position_no NULLS LAST, n.unit_id"""
FINDINGS_SQL = """
    SELECT n.imo_number, d.unit_id, n.position_no, n.space_name, d.component, d.defect, d.severity, d.found_on, d.reports, d.path, d.line_no
    FROM (SELECT imo_number, unit_id, min(position_no) AS position_no, min(space_name) AS space_name FROM figure.unit_now
          WHERE counted = 'in service' GROUP BY imo_number, unit_id) AS n
    JOIN (SELECT unit_id, component, defect, severity, found_on, path, line_no, count(*) OVER (PARTITION BY unit_id, component, defect) AS reports
          FROM record.finding LEFT JOIN intake.file USING (file_id)
          WHERE found_on <= $day AND (closed_on IS NULL OR closed_on > $day)
          QUALIFY row_number() OVER (PARTITION BY unit_id, component, defect
              ORDER BY list_position(['unfit', 'major', 'minor'], severity) NULLS LAST, found_on, path, line_no) = 1) AS d USING (unit_id)
    ORDER BY n.imo_number, list_position(['unfit', 'major', 'minor'], d.severity) NULLS LAST, d.found_on, d.unit_id, d.component, d.defect"""


def say_place(row: Row) -> str:
    """Position and space, as the vessel names them."""
    return ", ".join(part for part in (row.position_no, row.space_name) if part)


def make_entry(row: Row, why: str) -> Entry:
    """A row with a unit, a place, a file and a line."""
    return Entry(row.imo_number, row.unit_id, row.unit_id, say_place(row), why, row.path, row.line_no)


def name_kind(row: Row) -> str:
    """Agent, detail and kind of foam as a name for a file; the Agents page names its rows so too."""
    return name_safely("|".join((row.agent, row.agent_detail or "", row.foam_kind or "")))


def name_unit(row: Row) -> Iterator[tuple[str, str]]:
    """Every list that a unit in service stands in by its agent."""
    agent, kind = words.say_slug(row.agent), name_kind(row)
    said = ", ".join(part for part in (agent, row.agent_detail) if part)
    yield "in-service", "Units in service"
    yield f"agent-{name_safely(row.agent)}", f"Units in service with {agent}"
    yield f"kind-{kind}", f"Units in service with {said}"
    if row.is_obsolete:
        yield "obsolete", "Units of an obsolete kind"
        yield f"obsolete-agent-{name_safely(row.agent)}", f"Units of an obsolete kind with {agent}"
        yield f"obsolete-kind-{kind}", f"Units of an obsolete kind with {said}"
    if row.is_unsuitable:
        yield f"unsuitable-kind-{kind}", f"In an unsuitable place, with {said}"
    if row.is_refill_unknown:
        yield f"refill-{name_safely(row.agent)}", f"Nobody said whether they can be refilled on board: {agent}"


def list_units(con: duckdb.DuckDBPyConnection, context: Context) -> Iterator[Named]:
    """Units as they are counted on the day."""
    for row in select_rows(con, UNITS_SQL):
        since = f" since {words.say_date(row.in_service_on)}" if row.in_service_on else ""
        if row.counted != "in service":
            entry = make_entry(row, f"{row.counted}, by the register")
            yield "apart", "Units counted apart", entry
            yield f"apart-{name_safely(row.counted)}", f"Units counted apart: {row.counted}", entry
            continue
        entry = make_entry(row, f"{words.say_slug(row.agent)}, in service{since}, by the register")
        for name, title in name_unit(row):
            yield name, title, entry


def list_findings(con: duckdb.DuckDBPyConnection, context: Context) -> Iterator[Named]:
    """Open findings of units in service, each kind of a unit once; and the units by the worst of theirs."""
    seen = set()
    for row in select_rows(con, FINDINGS_SQL, day=context.as_of):
        times = f", reported {row.reports} times" if row.reports > 1 else ""
        why = f"{words.say_slug(row.component)} {words.say_slug(row.defect)}, {row.severity or 'no severity'}, found {words.say_date(row.found_on)}{times}"
        entry = make_entry(row, why)
        yield "open-findings", "Open findings of units in service", entry
        if (row.imo_number, row.unit_id) in seen:
            continue
        seen.add((row.imo_number, row.unit_id))
        yield "found", "Units in service with open findings, each by its worst", entry
        worst = row.severity or "none"
        yield f"found-{worst}", f"Units in service whose worst open finding is {row.severity or 'without severity'}", entry
