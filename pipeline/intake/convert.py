"""Cells to typed canonical columns: the SQL that a dialect stands for.

In: a dialect's feed and the header of a file. Out: one SELECT with its parameters; each row carries the typed columns
and `problems`, the cells that could not be read (rule, column, value). Nothing is guessed and nothing dropped.
"""

from __future__ import annotations

from pipeline import contract
from pipeline.contract import Column, Table
from pipeline.intake.cell import Query, clean_sql, date_sql, lower_sql, month_sql, number_sql, suffix_sql, tried_date_sql
from pipeline.intake.dialect import Dialect, Feed, Source

UNREADABLE = {
    "word": "unknown-word",
    "date": "impossible-date",
    "integer": "not-a-number",
    "decimal": "not-a-number",
    "boolean": "not-a-boolean",
    "text": "unknown-word",
}
PRECISIONS = {
    "day": ("%d", "%-d", "%j", "%-j", "%x", "%c", "%u", "%w", "%a", "%A"),
    "month": ("%m", "%-m", "%b", "%B"),
}


def conversion_sql(
    feed: Feed, headers: list[str], dialect: Dialect, is_trimmed: bool = False, source: str = "source_record"
) -> tuple[str, dict[str, object]]:  # fmt: skip
    """SELECT from the source (record_no, line_no, c0, c1, ...) into the feed's typed canonical rows."""
    query = Query(is_trimmed)
    table = contract.tables()[feed.table]
    texts = [f"{_text_sql(query, table, column, feed, headers, dialect)} as x_{column.name}" for column in table.columns]
    typed = [f"{_typed_sql(query, column, feed, dialect)} as {column.name}" for column in table.columns]
    source, item, cell = _source_sql(query, feed, headers, dialect, source)
    problems = _problems_sql(query, table, feed)
    names = ", ".join(table.column_names)
    sql = f"""
with cells as (select record_no, line_no, {item} as item_no, {cell} as cell,
    {", ".join(texts)}
from {source}),
tried as (select *{"".join(_tried_sql(query, table, feed, dialect))} from cells),
typed as (select *,
    {", ".join(typed)}
from tried)
select record_no, line_no, item_no::integer as item_no, {names}, {problems} as problems from typed"""
    return sql, query.parameters


def unmatched_sql(dialect: Dialect, headers: list[str]) -> tuple[str, dict[str, object]] | None:
    """SELECT the records that feed no table because no `when` admits them; None if some table takes every record."""
    if not all(feed.when for feed in dialect.feeds):
        return None
    query = Query()
    admitted = " or ".join(_when_sql(query, feed, headers, dialect) for feed in dialect.feeds)
    column = headers.index(dialect.feeds[0].when[0])
    cells = ", ".join(f"c{number}" for number in range(len(headers)))
    return (
        f"select record_no, line_no, c{column}, hash({cells})::varchar from source_record where not ({admitted})",
        query.parameters,
    )


def _when_sql(query: Query, feed: Feed, headers: list[str], dialect: Dialect) -> str:
    cell = clean_sql(query, feed.when[0], headers, dialect)
    return f"coalesce(list_contains({query.bind(list(feed.when[1]))}, {lower_sql(cell)}), false)"


def _source_sql(query: Query, feed: Feed, headers: list[str], dialect: Dialect, source: str) -> tuple[str, str, str]:
    """FROM and WHERE of the feed, its item number and, for a check list, the cell that makes the row."""
    where = _when_sql(query, feed, headers, dialect) if feed.when else "true"
    if feed.wide is None:
        return f"{source} where {where}", "0", "null::varchar"
    items = ", ".join(
        f"{{'no': {number}, 'value': {query.bind(value)}, 'cell': {clean_sql(query, header, headers, dialect)}}}"
        for number, (header, value) in enumerate(feed.wide.headers.items(), start=1)
    )
    none_words = query.bind(list(feed.wide.none_words))
    source = (
        f"(select * from (select *, unnest([{items}]) as item from {source} where {where}) "
        f"where item.cell is not null and not list_contains({none_words}, {lower_sql('item.cell')}))"
    )
    return source, "item.no", "item.cell"


def _text_sql(query: Query, table: Table, column: Column, feed: Feed, headers: list[str], dialect: Dialect) -> str:
    """The text of one canonical column before it is typed."""
    source = feed.columns.get(column.name)
    base = _source_text_sql(query, source, headers, dialect)
    for other in feed.columns.values():
        if other.precision_into == column.name:
            base = _precision_sql(query, other, headers, dialect)
    wide = feed.wide
    if wide and wide.into == column.name:
        return "item.value"
    if wide:
        pairs = [(word, given[column.name]) for word, given in wide.cells.items() if column.name in given]
        if pairs:
            cases = " ".join(f"when {query.bind(word)} then {query.bind(value)}" for word, value in pairs)
            return f"coalesce(case {lower_sql('item.cell')} {cases} end, {base})"
    return base


def _source_text_sql(query: Query, source: Source | None, headers: list[str], dialect: Dialect) -> str:
    if source is None or (source.header is not None and source.header not in headers):
        return "null::varchar"
    if source.header is None:
        return f"{query.bind(str(source.constant))}::varchar"
    cell = clean_sql(query, source.header, headers, dialect)
    if source.foreign:
        cell = f"case when list_contains({query.bind(list(source.foreign))}, {suffix_sql(query, cell)}) then null else {cell} end"
    return f"{query.bind(source.prefix)} || {cell}" if source.prefix else cell


def _precision_sql(query: Query, source: Source, headers: list[str], dialect: Dialect) -> str:
    """How exactly a date is known, told by the first format that reads it."""
    if source.header not in headers:
        return "null::varchar"
    cell = month_sql(query, clean_sql(query, source.header, headers, dialect), dialect)
    cases = []
    for form in source.formats:
        precision = next((name for name, marks in PRECISIONS.items() if any(mark in form for mark in marks)), "year")
        cases.append(f"when {date_sql(query, cell, (form,))} is not null then '{precision}'")
    return f"case {' '.join(cases)} end"


def _tried_sql(query: Query, table: Table, feed: Feed, dialect: Dialect) -> list[str]:
    """What each format makes of each date; none where names of months come before, which asks for more than a format."""
    return [] if dialect.months else [
        f", try_strptime(x_{column.name}, {query.bind(form)})::date as d{number}_{column.name}"
        for column in table.columns if column.type == "date"
        for number, form in enumerate(_formats(feed.columns.get(column.name, Source())))
    ]  # fmt: skip


def _formats(source: Source) -> tuple[str, ...]:
    return source.formats or ("%Y-%m-%d",)


def _typed_sql(query: Query, column: Column, feed: Feed, dialect: Dialect) -> str:
    """The typed value, null where the text can't be read as the contract's type."""
    text = f"x_{column.name}"
    source = feed.columns.get(column.name, Source())
    if column.type == "date":
        if dialect.months:
            return date_sql(query, month_sql(query, text, dialect), _formats(source))
        return tried_date_sql(text, [f"d{number}_{column.name}" for number in range(len(_formats(source)))])
    if column.type in ("integer", "decimal"):
        return number_sql(query, text, column, source, dialect)
    words = {word.lower(): word for word in column.words} | source.words
    if column.type == "boolean":
        words = {"true": "true", "false": "false"} | source.words
    if not words:
        return text
    cases = " ".join(f"when {query.bind(word)} then {query.bind(target)}" for word, target in words.items())
    rest = "null" if column.type in ("word", "boolean") else text
    value = f"case {lower_sql(text)} {cases} else {rest} end"
    if column.type == "text":
        return f"nullif({value}, '')"  # a word that the dialect turns into nothing is an empty cell, also in a key
    if column.type == "boolean":
        return f"case when {text} is null then {column.default or 'null'}::boolean else ({value})::boolean end"
    return value


def _problems_sql(query: Query, table: Table, feed: Feed) -> str:
    """The list of cells that say something which could not be read; null for a row without any."""
    entries, any_failed = [], []
    for column in table.columns:
        if column.type == "text":
            continue
        source = feed.columns.get(column.name)
        if source is None and not (feed.wide and any(column.name in given for given in feed.wide.cells.values())):
            continue
        failed = f"(x_{column.name} is not null and {column.name} is null)"
        any_failed.append(failed)
        rule = UNREADABLE[column.type]
        entries.append(f"case when {failed} then {_problem_sql(rule, column.name, f'x_{column.name}')} end")
    if feed.wide:
        words = query.bind(list(feed.wide.cells))
        failed = f"not list_contains({words}, {lower_sql('cell')})"
        any_failed.append(failed)
        entries.append(f"case when {failed} then {_problem_sql('unknown-word', feed.wide.word_column, 'cell')} end")
    if not entries:
        return "null::struct(rule varchar, column_name varchar, value varchar)[]"
    listed = f"list_filter([{', '.join(entries)}], lambda p: p is not null)"
    return f"case when {' or '.join(any_failed)} then {listed} end"


def _problem_sql(rule: str, column: str, value: str) -> str:
    return f"{{'rule': '{rule}', 'column_name': '{column}', 'value': {value}}}"
