"""The lists of a vessel's page: overdue, falling due, findings, register.

In: `VesselData`. Out: tables.
"""

from __future__ import annotations

from dashboards import standing, words
from dashboards.blocks import Context, Table, name_columns
from dashboards.pages import due_items, vessel_data
from dashboards.pages.vessel_data import VesselData

AHEAD_DAYS = 90


def list_overdue(data: VesselData) -> Table:
    """Overdue and unknown items, longest overdue first."""
    late = sorted((i for i in data.items if i.state == "overdue"), key=lambda i: (i.due_on, i.duty, i.place))
    rows = tuple(due_items.write_row(i, None, True) for i in [*late, *(i for i in data.items if i.state == "unknown")])
    caption = f"{words.say_capital(words.say_count(len(late), 'item'))} overdue, longest first" + (
        f"; then {len(rows) - len(late)} without a due date" if len(rows) > len(late) else ""
    )
    return Table(
        "overdue",
        caption,
        due_items.list_columns(False, True),
        rows,
        empty="Nothing is overdue on this date, and every due date is known.",
    )


def list_ahead(data: VesselData, context: Context) -> Table:
    """Counts of what falls due within 30, 60 and 90 days, by duty."""
    ahead = [i for i in data.items if i.state == "in time"]
    duties = sorted({i.duty for i in ahead}, key=standing.order_duty)
    rows = tuple(
        (
            words.say_capital(words.say_duty(d)),
            *(sum(1 for i in ahead if i.duty == d and i.due_on and (i.due_on - context.as_of).days <= n) for n in (30, 60, 90)),
        )
        for d in duties
    )
    columns = name_columns("duty=Duty; in_30_days=Within 30 days:count; in_60_days=60 days:count; in_90_days=90 days:count")
    return Table(
        "ahead",
        "The next due date of each unit and duty; each column includes the one before",
        columns,
        rows,
        empty="Nothing falls due within 90 days.",
    )


def list_due(data: VesselData) -> Table:
    """The due list: services and tests one by one, onboard checks by day."""
    ahead = [i for i in data.items if i.state == "in time"]
    rounds: dict = {}
    for item in (i for i in ahead if i.duty == "onboard_check"):
        rounds.setdefault(item.due_on, []).append(item.position_no or item.unit_id)
    lines = [(i.due_on, words.say_duty(i.duty), i.unit, i.place, i.basis, "") for i in ahead if i.duty != "onboard_check"]
    lines += [
        (day, "onboard check", words.say_count(len(p), "unit"), f"positions {due_items.say_positions(p)}", "", "")
        for day, p in rounds.items()
    ]
    columns = name_columns(
        "due_on=Due:date; duty=Duty; unit=Unit or group:unit; place=Position, space:long; counted_from=Counted from; "
        "done=Done on, by:blank"
    )
    return Table(
        "due",
        f"Falling due within {AHEAD_DAYS} days, first come first; onboard checks together by day",
        columns,
        tuple(sorted(lines, key=lambda r: (r[0], r[1], r[3], r[2]))),
        empty=f"Nothing falls due within {AHEAD_DAYS} days of this date.",
    )


def list_findings(data: VesselData, context: Context) -> Table:
    """Findings that are still open on units of this vessel."""
    columns = name_columns(
        "unit=Unit:unit; found_on=Found:date; days_open=Days open:count; component=Component; defect=Defect; "
        "severity=Severity; rust_grade=Rust grade; action=Action noted; record=Record:path"
    )
    rows = tuple(
        (
            f.unit_id,
            f.found_on,
            (context.as_of - f.found_on).days,
            words.say_slug(f.component),
            words.say_slug(f.defect),
            words.say_slug(f.severity),
            f.rust_grade,
            f.action,
            f"{f.path}, record {f.record_no}",
        )
        for f in data.findings
    )
    return Table(
        "findings",
        (
            f"{words.say_capital(words.say_count(len(rows), 'report'))} still open, oldest first; one defect can "
            "be reported more than once"
        ),
        columns,
        rows,
        empty="No finding is open on this vessel's units.",
    )


def list_register(data: VesselData) -> Table:
    """Every unit aboard or counted for the vessel."""
    columns = name_columns(
        "unit_id=Unit:unit; state=State:state filter; position_no=Position:code; space=Space; "
        "space_category=Kind of space:text filter; agent=Agent:text filter; charge=Charge; made_on=Made:part_date; "
        "last_inspected_on=Last check:date; last_serviced_on=Last service:date; open_findings=Open findings:count; "
        "overdue_duties=Duties overdue:count"
    )  # fmt: skip
    rows = vessel_data.write_units(data)
    return Table(
        "register",
        f"{words.say_capital(words.say_count(len(rows), 'unit'))} on the register",
        columns,
        rows,
        empty="No unit is on record for this vessel. Load its register (unit.csv).",
        is_register=True,
    )
