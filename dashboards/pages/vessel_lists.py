"""The lists of a vessel's page: overdue, falling due, findings, register.

In: `VesselData`. Out: tables.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from dashboards import tables, twins, words
from dashboards.blocks import Context, Count, Table, name_columns
from dashboards.pages import due_rows, list_items, vessel_data
from dashboards.pages.vessel_data import VesselData

AHEAD_DAYS = 90


def list_late(data: VesselData, context: Context) -> tuple[Table, ...]:
    """Overdue items, longest overdue first; then those that can't be told, where there are any."""
    late = sorted((i for i in data.items if i.state == "overdue"), key=lambda i: (i.due_on, i.duty, i.place))
    unknown = [i for i in data.items if i.state == "unknown"]
    every = " and every due date is known" if not unknown else ""
    tables = [
        Table(
            "overdue",
            f"{words.say_capital(words.say_count(len(late), 'item'))} overdue, longest first",
            due_rows.list_columns(False, True),
            tuple(due_rows.write_row(i, context, False, True) for i in late),
            empty=f"Nothing is overdue on this date{every}.",
        )
    ]
    if unknown:
        said = f"{words.say_capital(words.say_count(len(unknown), 'item'))} without a due date, because there is nothing to count from"
        rows = tuple(due_rows.write_row(i, context, False, False) for i in unknown)
        tables.append(Table("unknown", said, due_rows.list_columns(False, False), rows))
    return tuple(tables)


def list_ahead(data: VesselData, context: Context, imo: str) -> Table:
    """Counts of what falls due within 30, 60 and 90 days, for every duty of the rule book."""
    ahead = [i for i in data.items if i.state == "in time"]
    rows = tuple(
        (
            words.say_capital(context.book.name_duty(d)),
            *(
                context.count(
                    sum(1 for i in ahead if i.duty == d and i.due_on and (i.due_on - context.as_of).days <= n),
                    f"due-{n}-{d}",
                    imo,
                )
                for n in (30, 60, 90)
            ),
        )
        for d in context.book.duties
    )
    columns = name_columns("duty=Duty; in_30_days=Within 30 days:count; in_60_days=60 days:count; in_90_days=90 days:count")
    return Table(
        "ahead",
        "The next due date of each unit and duty; each column includes the one before",
        columns,
        rows,
        empty="The rule book holds no duty.",
    )


def list_due(data: VesselData, context: Context, imo: str) -> Table:
    """The due list: services and tests one by one, rounds such as onboard checks by day."""
    ahead, book = [i for i in data.items if i.state == "in time"], context.book
    rounds: dict = {}
    for item in (i for i in ahead if book.is_round(i.duty)):
        rounds.setdefault((item.due_on, item.duty), []).append(item.position_no or item.unit_id)
    lines: list[tuple] = [
        (
            i.due_on,
            book.name_duty(i.duty),
            due_rows.link_unit(i, context),
            due_rows.link_place(i, context),
            i.basis,
            None,
            i.unit_id,
            i.basis_kind,
            i.basis_on,
            i.rule_id,
        )
        for i in ahead
        if not book.is_round(i.duty)
    ]
    lines += [
        (
            day,
            book.name_duty(duty),
            say_round(len(p), day, duty, context, imo),
            say_positions(p),
            "",
            None,
            None,
            None,
            None,
            None,
        )
        for (day, duty), p in rounds.items()
    ]
    columns = name_columns(
        "due_on=Due:date; duty=Duty; unit=Unit or group:unit; place=Position, space:long; counted_from=Counted from:page_text; "
        "done=Done on, by:blank; unit_id=Unit:text twin; basis_kind=Basis:text twin; basis_on=Basis on:date twin; "
        "rule_id=Rule:text twin"
    )
    return Table(
        "due",
        f"Falling due within {AHEAD_DAYS} days, first come first; {book.name_rounds() or 'rounds'} together by day",
        columns,
        tuple(sorted(lines, key=lambda r: (r[0], r[1], twins.write_plain(r[3]), twins.write_plain(tables.take_number(r[2]))))),
        empty=f"Nothing falls due within {AHEAD_DAYS} days of this date.",
    )


def say_round(count: int, day: date, duty: str, context: Context, imo: str) -> str | Count:
    """'42 units', leading to them."""
    said, listed = words.say_count(count, "unit"), context.count(count, list_items.name_day(duty, day), imo)
    return replace(listed, said=said) if isinstance(listed, Count) else said


def say_positions(positions: list[str]) -> str:
    """'position FE-01', 'positions FE-01 to FE-07'."""
    return f"{'position' if len(positions) == 1 else 'positions'} {due_rows.say_positions(positions)}"


def list_findings(data: VesselData, context: Context) -> Table:
    """Findings that are still open on units of this vessel, worst first."""
    columns = name_columns(
        "unit=Unit:unit; severity=Severity:state; found_on=Found:date; days_open=Days open:count; component=Component; "
        "defect=Defect; rust_grade=Rust grade; action=Action noted; since=Since then:page_text; path=File and line:file_line; "
        "serviced_on=Serviced on:date twin; counted=Counted:text twin"
    )
    rows = tuple(
        (
            context.link_unit(f.unit_id, f.unit_id if f.counted == "in service" else f"{f.unit_id}, {f.counted}"),
            f.severity,
            f.found_on,
            (context.as_of - f.found_on).days,
            words.say_slug(f.component),
            words.say_slug(f.defect),
            f.rust_grade,
            f.action,
            f"serviced since, {words.say_date(f.serviced_on)}, finding not closed" if f.serviced_on else "",
            (f.path, f.line_no),
            f.serviced_on,
            f.counted,
        )
        for f in data.findings
    )
    apart = sum(1 for f in data.findings if f.counted != "in service")
    said = f"{words.say_capital(words.say_count(len(rows), 'report'))} still open, worst first, then oldest first"
    said += f"; {words.say_number(apart)} of them on units counted apart" if apart else ""
    said += "; one defect can be reported more than once"
    return Table("findings", said, columns, rows, empty="No finding is open on this vessel's units.")


def list_register(data: VesselData, context: Context) -> Table:
    """Every unit aboard or counted for the vessel."""
    columns = name_columns(
        "unit_id=Unit:unit; state=Duties:state filter; open_findings=Open findings:found; position_no=Position:code; space=Space; "
        "space_category=Kind of space:text filter; agent=Agent:text filter; charge=Charge; made_on=Made:part_date; "
        "last_inspected_on=Last check:date; last_serviced_on=Last service:date; overdue_duties=Duties overdue:count"
    )  # fmt: skip
    rows = vessel_data.write_units(data, context)
    return Table(
        "register",
        f"{words.say_capital(words.say_count(len(rows), 'unit'))} on the register",
        columns,
        rows,
        empty="No unit is on record for this vessel. Load its register (unit.csv).",
        is_register=True,
    )
