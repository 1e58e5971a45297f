"""Invented due dates through the SQL that finds what stands or falls together.

In: services as (fleet, vessel, due date, done in time). Out: of each fleet and vessel, counts by call, as the figures have them.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import date
from importlib.resources import files

import duckdb

Counts = tuple[list[int], list[int]]  # done and due, by cluster


def list_call_sql() -> list[str]:
    """The statements that make calls of figure.due_service."""
    text = files("pipeline.figures").joinpath("due_call.sql").read_text(encoding="utf-8")
    found = [statement.query for statement in duckdb.extract_statements(text)]
    return [query for query in found if "create temp table" in query]


def group_calls(services: Iterable[tuple[str, date, bool]], interval_months: int = 12, by: str = "call_on") -> dict[str, Counts]:
    """By vessel: done and due of each call or, to see what that would do, of each calendar month (by='month_end')."""
    with duckdb.connect() as con:
        con.execute("create schema duty; create table duty.rule (duty varchar, interval_months integer, in_any boolean)")
        con.execute("insert into duty.rule values ('d', ?, false)", [interval_months])
        con.execute(
            "create schema figure; create table figure.due_service (imo_number varchar, duty varchar, due_on date, month_end date, is_in_time boolean)"
        )
        rows = list(services)
        con.execute(
            "insert into figure.due_service select unnest(?::varchar[]), 'd', unnest(?::date[]) as due_on, last_day(due_on), unnest(?::boolean[])",
            [list(column) for column in zip(*rows, strict=True)],
        )
        for statement in list_call_sql():
            con.execute(statement)
        found: dict[str, Counts] = defaultdict(lambda: ([], []))
        query = f"select imo_number, sum(done_in_time)::int, sum(fell_due)::int from due_call group by imo_number, {by} order by imo_number, {by}"
        for imo, done, due in con.execute(query).fetchall():
            found[imo][0].append(done)
            found[imo][1].append(due)
    return dict(found)
