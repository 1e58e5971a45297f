"""DuckDB's macros, put in place of their calls. In: `create macro` statements, then queries. Out: queries without calls of macros.

Spark's own SQL functions would do for single values, but not for macros on tables, nor for those that take a row (`p.lead_days`).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from sqlglot import exp, parse_one

HEAD = re.compile(r"\s*create\s+(?:or\s+replace\s+)?(?:temp\s+)?macro\s+(\w+)\s*\(([^)]*)\)\s+as\s+(table\s+)?", re.IGNORECASE)


@dataclass(frozen=True)
class Macro:
    """A name that stands for an expression, or for a query where it `is_table`."""

    parameters: tuple[str, ...]
    body: exp.Expression
    is_table: bool


class Macros:
    """The macros known so far."""

    def __init__(self) -> None:
        self._known: dict[str, Macro] = {}

    def define(self, text: str) -> bool:
        """Learn a macro; False where the statement defines none. The head is read here: sqlglot gives up on some bodies behind one."""
        body = strip_comments(text)
        head = HEAD.match(body)
        if head is None:
            return False
        name, listed, is_table = head.groups()
        query = body[head.end() :].strip().rstrip(";")
        parsed = parse_one(query, read="duckdb") if is_table else parse_one(f"select {query}", read="duckdb").expressions[0]
        parameters = tuple(part.strip() for part in listed.split(","))
        self._known[name.lower()] = Macro(parameters, parsed, bool(is_table))
        return True

    def expand(self, query: exp.Expression) -> exp.Expression:
        """The query with every call replaced, the outermost first, until none is left."""
        while (call := next(self._calls(query), None)) is not None:
            macro = self._known[call.name.lower()]
            given = dict(zip(macro.parameters, call.expressions, strict=True))
            if macro.is_table:
                table = call.parent
                new = exp.Subquery(this=_fill(macro, given))
                new.set("alias", table.args.get("alias"))
                new.set("joins", table.args.get("joins"))
                table.replace(new)
            else:
                call.replace(exp.Paren(this=_fill(macro, given)))
        return query

    def _calls(self, query: exp.Expression) -> Iterator[exp.Anonymous]:
        for call in query.find_all(exp.Anonymous):
            if call.name.lower() in self._known:
                yield call


def strip_comments(text: str) -> str:
    """Without `-- ...`; no text in our SQL holds two hyphens."""
    return re.sub(r"--[^\n]*", "", text)


def _fill(macro: Macro, given: dict[str, exp.Expression]) -> exp.Expression:
    """A copy of the body with arguments for parameters. A parameter may stand for a value, for a row (`p.days`), or, in
    query_table(p), for a table."""
    body = macro.body.copy()
    for table in list(body.find_all(exp.Table)):
        if isinstance(table.this, exp.Anonymous) and table.this.name == "query_table":
            name = table.this.expressions[0].name
            new = exp.to_table(given[name].name)
            new.set("alias", table.args.get("alias") or exp.TableAlias(this=exp.to_identifier(name)))
            new.set("joins", table.args.get("joins"))
            table.replace(new)
    for column in list(body.find_all(exp.Column)):
        if column.table in given:
            if not macro.is_table:
                column.set("table", exp.to_identifier(given[column.table].name))
        elif not column.table and column.name in given and not _is_bound(column):
            value = given[column.name].copy()
            new = value if isinstance(value, exp.Column | exp.Literal) else exp.Paren(this=value)
            if column is body:
                body = new
            else:
                column.replace(new)
    return body


def _is_bound(column: exp.Column) -> bool:
    """Whether the name is that of a lambda's own parameter."""
    parent = column.find_ancestor(exp.Lambda)
    while parent is not None:
        if any(entry.name == column.name for entry in parent.expressions):
            return True
        parent = parent.find_ancestor(exp.Lambda)
    return False
