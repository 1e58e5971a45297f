"""Items as rows: the columns of due lists on the Overdue and Vessel pages, and of their CSV twins.

In: `Item`. Out: columns and rows. On a phone the first columns are the ones that must be seen: unit, due, how late.
"""

from __future__ import annotations

import re

from dashboards.blocks import Column, Context, Link, Run, name_columns
from dashboards.pages.due_items import Item, say_member

TWIN = name_columns(
    "imo_number=IMO number:code twin; unit_id=Unit or group:text twin; basis_kind=Basis:text twin; basis_on=Basis on:date twin; "
    "rule_id=Rule:text twin; missed_on=Tried:date twin; missed_outcome=Outcome:text twin; state=State:text twin"
)
LATE = name_columns("due_on=Due:date; days_overdue=Days overdue:count")
REST = name_columns(
    "place=Position, space:long; counted_from=Counted from:page_text; rule=Rule:link; path=File and line:file_line"
)
DONE = Column("done", "Done on, by", "paper")


def list_columns(with_vessel: bool, is_late: bool) -> tuple[Column, ...]:
    """Columns of an item table; without the vessel there is room on paper to note what was done."""
    vessel = name_columns("vessel=Vessel:link") if with_vessel else ()
    done = () if with_vessel else (DONE,)
    return (Column("unit", "Unit or group", "unit"), *(LATE if is_late else ()), Column("duty", "Duty"), *vessel,
            *REST, *done, *TWIN)  # fmt: skip


def link_rule(item: Item, context: Context) -> Link | str:
    """'[C] every month', leading to the rule on the Method page."""
    rule = context.book.find_rule(item.rule_id)
    return Link(rule.mark, f"method.html#{rule.anchor}") if rule else item.rule_id


def find_unit(item: Item) -> str | None:
    """The one unit that an item is about; none for a group of several."""
    if not item.is_group:
        return item.unit_id
    return item.members[0]["unit_id"] if len(item.members) == 1 else None


def link_unit(item: Item, context: Context) -> Link | str:
    """The unit, leading to its page; a group of several names its units at its place."""
    unit_id = find_unit(item)
    return context.link_unit(unit_id, item.unit) if unit_id else item.unit


def link_place(item: Item, context: Context) -> Run | str:
    """Position and space; of a group its units, each leading to its page."""
    if not item.is_group:
        return item.place
    linked = [context.link_unit(member["unit_id"], say_member(member)) for member in item.members]
    return Run(tuple(part for link in linked for part in (", ", link))[1:])


def write_row(item: Item, context: Context, with_vessel: bool, is_late: bool) -> tuple:
    """One item as a row of such a table."""
    vessel = (context.link_vessel(item.imo_number),) if with_vessel else ()
    late = (item.due_on, item.days_overdue) if is_late else ()
    done = () if with_vessel else (None,)
    outcome = item.missed_outcome if item.missed_on else None
    return (
        link_unit(item, context), *late, context.book.name_duty(item.duty), *vessel, link_place(item, context), item.basis, link_rule(item, context),
        (item.path, item.basis_line_no), *done,
        item.imo_number, item.unit_id, item.basis_kind, item.basis_on, item.rule_id, item.missed_on, outcome, item.state,
    )  # fmt: skip


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
