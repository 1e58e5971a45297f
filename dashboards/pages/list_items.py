"""Lists of what is counted, overdue, unknown or falling due, by duty.

In: figure.duty_now as `Item` values. Out: lines of lists; `any` is any of the duties that make a unit overdue.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

import duckdb

from dashboards import words
from dashboards.blocks import Context
from dashboards.database import select_rows
from dashboards.pages import due_rows, list_units
from dashboards.pages.due_items import Item, read_items
from dashboards.pages.list_book import Entry, Named
from dashboards.pages.overdue_data import BANDS, find_band

ALL_DAYS = 200_000  # beyond any due date
YEAR_DAYS = 365
WINDOWS = (30, 60, 90)
# Units that a duty counts and that it asks nothing of, such as a recharge after use that there was none of.
IDLE_SQL = """
    SELECT c.imo_number, c.unit_id, c.duty, n.position_no, n.space_name, f.path, n.line_no FROM (
        SELECT DISTINCT imo_number, unit_id, duty FROM figure.count_interval
        WHERE measure = 'unit' AND duty <> '*' AND from_on <= $day AND to_on > $day
        EXCEPT SELECT imo_number, unit_id, duty FROM figure.duty_now) AS c
    JOIN (SELECT * FROM figure.unit_now QUALIFY row_number() OVER (PARTITION BY imo_number, unit_id
          ORDER BY counted <> 'in service', position_no, file_id, line_no) = 1) AS n USING (imo_number, unit_id)
    LEFT JOIN intake.file AS f USING (file_id) ORDER BY c.duty, c.imo_number, n.position_no NULLS LAST, c.unit_id"""


def say_due(item: Item, context: Context) -> str:
    """'Onboard check due 3 Sep 2026, 58 days overdue; counted from inspection, 3 Aug 2026'."""
    late = f", {words.say_count(item.days_overdue, 'day')} overdue" if item.days_overdue else ""
    due = f"due {words.say_date(item.due_on)}{late}; counted from {item.basis}" if item.due_on else f"unknown; {item.basis}"
    return f"{words.say_capital(context.book.name_duty(item.duty))} {due}"


def make_entry(item: Item, context: Context) -> Entry:
    """One item as a line."""
    place = due_rows.link_place(item, context)
    unit_id = due_rows.find_unit(item)
    return Entry(item.imo_number, item.unit, unit_id, place, say_due(item, context), item.path, item.basis_line_no)


def name_day(duty: str, day: date) -> str:
    """The list of what falls due on a day, as the due list of a vessel sums it up."""
    return f"due-on-{day}-{duty}"


def name_month(duty: str, month: date) -> str:
    """The list of what falls due for a duty in a calendar month."""
    return f"due-in-{month:%Y-%m}-{duty}"


def is_ahead(item: Item, context: Context) -> bool:
    """True where it is in time and falls due within the year, or within 90 days where it is a round."""
    most = WINDOWS[-1] if context.book.is_round(item.duty) else YEAR_DAYS
    return item.state == "in time" and item.due_on is not None and (item.due_on - context.as_of).days <= most


def name_item(item: Item, context: Context) -> Iterator[tuple[str, str]]:
    """Every list that an item stands in, with its title."""
    duty, what = item.duty, context.book.name_duty(item.duty)
    yield f"duty-{duty}", f"Counted for {what}"
    if item.state == "overdue":
        yield f"overdue-{duty}", f"Overdue for {what}"
        yield "overdue-items", "Items overdue"
        band = find_band(item.days_overdue or 0)
        yield f"overdue-band-{band}", f"Items overdue for {BANDS[band]}"
    elif item.due_on is None:
        yield f"unknown-{duty}", f"Due date unknown for {what}"
        yield "unknown-items", "Items whose due date is unknown"
    else:
        days = (item.due_on - context.as_of).days
        if context.book.is_round(duty) and days <= WINDOWS[-1]:
            yield name_day(duty, item.due_on), f"Falling due for {what} on {words.say_date(item.due_on)}"
        yield from ((f"due-{n}-{duty}", f"Falling due for {what} within {n} days") for n in WINDOWS if days <= n)
        if not context.book.is_round(duty) and days <= WINDOWS[-1]:
            yield "due-90", f"Falling due within 90 days, {context.book.name_rounds() or 'rounds'} apart"
        if not context.book.is_round(duty) and days <= YEAR_DAYS:
            yield f"due-in-{item.due_on:%Y-%m}", f"Services and tests that fall due in {words.say_month(item.due_on)}"
        if is_ahead(item, context):
            yield name_month(duty, item.due_on), f"Falling due for {what} in {words.say_month(item.due_on)}"


def merge_items(items: list[Item], context: Context) -> Iterator[Named]:
    """Each unit once, over the duties that make a unit overdue; what is late stands before what can't be told."""
    units: dict[tuple, list[Item]] = {}
    for item in items:
        rule = context.book.find_rule(item.rule_id)
        if not item.is_group and rule and rule.in_any:
            units.setdefault((item.imo_number, item.unit_id), []).append(item)
    late: dict[tuple, list[Item]] = {}
    for item in items:
        if item.state == "overdue":
            late.setdefault((item.is_group, item.imo_number, item.unit_id), []).append(item)
    for mine in late.values():
        of = ("overdue-groups", "Sample groups overdue") if mine[0].is_group else ("overdue-units", "Units overdue for anything")
        yield *of, merge_entry(mine, context)
    for mine in units.values():
        yield "duty-any", "Units in service", make_entry(mine[0], context)
        for state, name, title in (
            ("overdue", "overdue-any", f"Units overdue for {context.book.name_any()}"),
            ("unknown", "unknown-any", "Units whose standing can't be told"),
        ):
            of_state = [item for item in mine if item.state == state]
            if of_state:
                yield name, title, merge_entry(of_state, context)
                break


def merge_entry(items: list[Item], context: Context) -> Entry:
    """Several items of one unit as a line, which cites the first one's record."""
    first, why = make_entry(items[0], context), ". ".join(say_due(item, context) for item in items)
    return Entry(first.imo_number, first.unit, first.unit_id, first.place, why, first.path, first.line_no)


def list_items(con: duckdb.DuckDBPyConnection, context: Context) -> Iterator[Named]:
    """Every line of these lists, longest overdue first, then by due date."""
    items = read_items(con, context, ALL_DAYS)
    items.sort(key=lambda i: (-(i.days_overdue or 0), i.due_on or context.as_of, context.name_vessel(i.imo_number), i.imo_number,
                              i.position_no or "", i.unit_id, i.duty))  # fmt: skip
    for item in items:
        entry = make_entry(item, context)
        for name, title in name_item(item, context):
            yield name, title, entry
    yield from merge_items(items, context)
    for row in select_rows(con, IDLE_SQL, day=context.as_of):
        what = context.book.name_duty(row.duty)
        entry = list_units.make_entry(row, f"{words.say_capital(what)} counts for it, and nothing calls for it now")
        yield f"duty-{row.duty}", f"Counted for {what}", entry
