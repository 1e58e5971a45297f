"""What falls due on one vessel, by calendar month: services and tests for a year, rounds such as onboard checks for 90 days.

In: `VesselData`. Out: a table, a row for each month and duty, so that a yard, a service station or a port call can be planned.
"""

from __future__ import annotations

from datetime import date

from dashboards import words
from dashboards.blocks import Context, Table, name_columns
from dashboards.pages import due_rows, list_items
from dashboards.pages.due_items import Item
from dashboards.pages.vessel_data import VesselData


def group_months(data: VesselData, context: Context) -> dict[tuple[date, str], list[Item]]:
    """What is in time and falls due within a year, rounds within 90 days: by month and duty, in order."""
    groups: dict[tuple[date, str], list[Item]] = {}
    for item in data.year:
        if list_items.is_ahead(item, context):
            groups.setdefault((item.due_on.replace(day=1), item.duty), []).append(item)
    return dict(sorted(groups.items(), key=lambda pair: (pair[0][0], context.book.order_duty(pair[0][1]))))


def say_places(items: list[Item]) -> str:
    """'FE-01 to FE-07, FE-09'; sample groups by what they are of."""
    units = due_rows.say_positions([item.position_no or item.unit_id for item in items if not item.is_group])
    return "; ".join([*([units] if units else []), *sorted(item.unit for item in items if item.is_group)])


def list_months(data: VesselData, context: Context, imo: str) -> Table:
    """A row for each month and duty, the number leading to its units."""
    columns = name_columns(
        "month=Month; duty=Duty; due=Falling due:count; first_on=First on:date; last_on=Last on:date; places=Positions or groups:long"
    )
    rows = tuple(
        (
            words.say_month(month),
            context.book.name_duty(duty),
            context.count(len(items), list_items.name_month(duty, month), imo),
            min(item.due_on for item in items),
            max(item.due_on for item in items),
            say_places(items),
        )
        for (month, duty), items in group_months(data, context).items()
    )
    rounds = context.book.name_rounds()
    said = f"services and tests within {list_items.YEAR_DAYS} days" + (
        f", {rounds} within {list_items.WINDOWS[-1]}" if rounds else ""
    )
    return Table(
        "months",
        f"Next due dates by calendar month: {said}; the first and the last month are cut by that",
        columns,
        rows,
        empty=f"Nothing falls due within {list_items.YEAR_DAYS} days of this date.",
    )
