"""Vessel sheet: the state of one vessel on one page of A4, for the clipboard and the file.

In: what the vessel's page is made from. Out: vessel/<imo>-sheet.html. Each list has so many lines that all of them fit the paper, whatever
the vessel; what is left out is counted, and stands on the vessel's page.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import duckdb

from dashboards import words
from dashboards.blocks import Column, Context, Link, Page, Section, Table, Vessel, name_columns
from dashboards.pages import verdict_rows, vessel_data, vessel_lists, vessel_words
from dashboards.pages.vessel_data import VesselData
from dashboards.pages.vessel_lists import AHEAD_DAYS

LATE, AHEAD, AGAINST, FOUND, SHORT, AGENTS = 8, 5, 5, 5, 5, 5
LETTERS = 60  # of a cell; what its column does not hold is cut by the page
SIGNED = Table(
    "signed",
    "Seen by",
    (
        Column("name", "Name", "blank"),
        Column("rank", "Rank or office", "blank"),
        Column("on", "Date", "blank"),
        Column("sign", "Signature", "blank"),
    ),
    ((None, None, None, None),),
    has_twin=False,
)


def make_table(name: str, caption: str, columns: str, rows: Sequence[tuple], most: int, empty: str) -> Table:
    """The first lines, and in the caption how many there are."""
    every = len(rows)
    said = (
        f"{caption}: {words.say_number(every)}" if every <= most else f"{caption}: the first {most} of {words.say_number(every)}"
    )
    cells = tuple(tuple(words.cut_name(v, LETTERS) if isinstance(v, str) else v for v in row) for row in rows[:most])
    return Table(name, said, name_columns(columns), cells, empty=empty, has_twin=False)


def list_late(data: VesselData, context: Context) -> Table:
    """What is overdue, longest first."""
    late = sorted((i for i in data.items if i.state == "overdue"), key=lambda i: (i.due_on, i.duty, i.place))
    rows = [(i.unit, i.position_no, context.book.name_duty(i.duty), i.due_on, i.days_overdue) for i in late]
    columns = "unit=Unit or group; position_no=Position; duty=Duty; due_on=Due:date; days_overdue=Days:count"
    return make_table("late", "Overdue", columns, rows, LATE, "Nothing is overdue on this date.")


def list_ahead(data: VesselData, context: Context) -> Table:
    """What falls due: a line for each day and duty."""
    days: dict[tuple, list[str]] = {}
    for item in data.items:
        if item.state == "in time" and item.due_on:
            days.setdefault((item.due_on, item.duty), []).append(item.position_no or item.unit)
    rows = [
        (
            day,
            context.book.name_duty(duty),
            context.book.say_subjects(duty, len(places)),
            vessel_lists.due_rows.say_positions(places),
        )
        for (day, duty), places in sorted(days.items())
    ]
    columns = "due_on=Due:date; duty=Duty; units=Units; places=Positions"
    return make_table(
        "due",
        f"Due within {AHEAD_DAYS} days, by day",
        columns,
        rows,
        AHEAD,
        f"Nothing within {AHEAD_DAYS} days.",
    )


def list_against(data: VesselData) -> Table:
    """Reasons to condemn and against use, one a line."""
    rows = [
        (r.unit_id, r.position_no, "to condemn" if r.verdict == "condemn" else r.verdict, r.reason, r.rule_id)
        for kind in ("condemn", "unfit", "placement")
        for r in verdict_rows.pick(data.verdicts, kind)
    ]
    columns = "unit=Unit; position_no=Position; verdict=Stands; reason=Reason; rule=Rule"
    return make_table(
        "against",
        "Reasons against units",
        columns,
        rows,
        AGAINST,
        "By the rules in force nothing on record stands against a unit.",
    )


def list_found(data: VesselData) -> Table:
    """Open findings, worst first."""
    rows = [
        (f.unit_id, f.severity or "none", f.found_on, f"{words.say_slug(f.component)} {words.say_slug(f.defect)}")
        for f in data.findings
    ]
    columns = "unit=Unit; severity=Severity; found_on=Found:date; defect=Defect"
    return make_table("found", "Open reports of findings", columns, rows, FOUND, "No finding is open.")


def list_short(data: VesselData) -> Table:
    """Numbers and spares that are short."""
    rows = [
        (words.say_capital(r.title), words.say_slug(r.agent) if r.agent else "", r.required, r.usable, r.short_by)
        for r in data.numbers
        if r.short_by
    ]
    columns = "what=What; agent=Agent; required=Required:count; usable=Of use:count; short_by=Short by:count"
    return make_table("short", "Numbers and spares short", columns, rows, SHORT, "No number on record is short of a rule.")


def list_agents(data: VesselData) -> Table:
    """Units in service by agent, the most first."""
    totals: dict[str, int] = {}
    for row in data.mix:
        totals[row.agent] = totals.get(row.agent, 0) + row.units
    rows = [(words.say_capital(words.say_slug(a)), n) for a, n in sorted(totals.items(), key=lambda pair: (-pair[1], pair[0]))]
    return make_table("agents", "Agents in service", "agent=Agent; units=Units:count", rows, AGENTS, "No unit is in service.")


def make_page(vessel: Vessel, data: VesselData, context: Context) -> Page:
    """The sheet of one vessel."""
    halves = (
        ("late", "Overdue", list_late(data, context)),
        ("against", "Against units", list_against(data)),
        ("due", "Falling due", list_ahead(data, context)),
        ("found", "Open findings", list_found(data)),
        ("short", "Numbers", list_short(data)),
        ("agents", "Agents", list_agents(data)),
        ("signed", "Seen", SIGNED),
    )
    return Page(
        vessel.sheet_href,
        words.cut_name(vessel.name, LETTERS),
        f"IMO {vessel.imo_number}, vessel sheet",
        vessel_words.write_answer(vessel, data, context),
        (
            Section("standing", "On this day", (vessel_words.list_facts(vessel, data, context),), is_wide=True),
            *(Section(name, heading, (table,), is_wide=True) for name, heading, table in halves),
        ),
        nav="index.html",
        crumbs=(Link("All of this vessel", vessel.link.href),),
        is_caution_on_top=True,
        is_sheet=True,
    )


def make_pages(con: duckdb.DuckDBPyConnection, context: Context) -> Iterator[Page]:
    """One sheet after another, from one set of queries."""
    every = vessel_data.read_all(con, context, AHEAD_DAYS)
    for vessel in context.vessels:
        yield make_page(vessel, every(vessel.imo_number), context)
