"""Day or month first, settled by the data or asked for, never guessed.

In: a dialect with several date formats for a column, and `source_record`. Out: the dialect with the formats that hold for
this file. Two formats that read one cell as two different days are settled by cells that only one of them reads; where no
such cell is, or some speak for each, the run stops and asks.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

from pipeline.errors import UserError
from pipeline.intake.cell import Query, clean_sql, date_sql, month_sql
from pipeline.intake.dialect import Dialect, Source

Settled = dict[str, tuple[str, ...]]


def settle_formats(dialect: Dialect, headers: list[str], path: str, con, answered: list[Settled] | None = None) -> Dialect:
    """The dialect with formats that agree on every cell of this file. Raises UserError day-or-month.

    The rows of a mended sheet come from other files: `answered` are the formats that held there, and the sheet's own cells
    settle nothing.
    """
    feeds = []
    for feed in dialect.feeds:
        columns = {}
        for name, source in feed.columns.items():
            there = None if answered is None else [item.get(f"{feed.table}.{name}", ()) for item in answered]
            columns[name] = _settle_source(source, dialect, headers, path, con, there)
        feeds.append(replace(feed, columns=columns))
    return replace(dialect, feeds=tuple(feeds))


def list_settled(dialect: Dialect) -> Settled:
    """The date formats of each column (table.column) once they are settled."""
    return {
        f"{feed.table}.{name}": source.formats
        for feed in dialect.feeds
        for name, source in feed.columns.items()
        if source.formats
    }


def _settle_source(source: Source, dialect: Dialect, headers: list[str], path: str, con, answered: list[tuple] | None) -> Source:
    if len(source.formats) < 2 or source.header not in headers:
        return source
    if answered and len(set(answered)) == 1:
        source = replace(source, formats=tuple(form for form in source.formats if form in answered[0]))
    dropped = set()
    for first, second in combinations(source.formats, 2):
        only_first, only_second, line_no = _compare(first, second, source, dialect, headers, con)
        if line_no is None:
            continue
        if bool(only_first) == bool(only_second) or answered is not None:
            raise _ask(first, second, line_no, source, dialect, headers, path, con, answered is not None)
        dropped.add(second if only_first else first)
    return replace(source, formats=tuple(form for form in source.formats if form not in dropped))


def _compare(first: str, second: str, source: Source, dialect: Dialect, headers: list[str], con) -> tuple[int, int, int | None]:
    """Cells that only the first format reads, those that only the second does, and the first line they read differently."""
    query = Query()
    cell = month_sql(query, clean_sql(query, source.header, headers, dialect), dialect)
    sql = (
        "select count(*) filter (a is not null and b is null), count(*) filter (b is not null and a is null), "
        "min(line_no) filter (a <> b) from "
        f"(select line_no, {date_sql(query, 'cell', (first,))} as a, {date_sql(query, 'cell', (second,))} as b "
        f"from (select line_no, {cell} as cell from source_record))"
    )
    return con.execute(sql, query.parameters).fetchone()


def _ask(
    first: str, second: str, line_no: int, source: Source, dialect: Dialect, headers: list[str], path: str, con, is_sheet: bool
) -> UserError:
    query = Query()
    cell = month_sql(query, clean_sql(query, source.header, headers, dialect), dialect)
    sql = (
        f"select cell, {date_sql(query, 'cell', (first,))}, {date_sql(query, 'cell', (second,))} "
        f"from (select {cell} as cell from source_record where line_no = {query.bind(line_no)})"
    )
    value, one, other = con.execute(sql, query.parameters).fetchone()
    formats = f"{first} and {second}"
    place = {"path": path, "line_no": line_no, "header": source.header, "value": value, "first": one, "second": other}
    if is_sheet:
        return UserError("day-or-month-in-sheet", **place)
    return UserError("day-or-month", **place, formats=formats, dialect=dialect.name)
