"""Lists that Spark SQL works out otherwise than DuckDB. In: nodes of a parsed query. Out: what stands in their place."""

from __future__ import annotations

from sqlglot import exp


class Untold(Exception):
    """A statement holds what has no counterpart in Spark's SQL; the text names it."""


def call(name: str, *arguments: exp.Expression) -> exp.Expression:
    """A call of one of Spark's functions, or of ours, by its name."""
    return exp.Anonymous(this=name, expressions=[argument.copy() for argument in arguments])


def _reduce(node: exp.Anonymous) -> exp.Expression:
    """list_reduce over list_prepend(first, rest): Spark's takes the first apart."""
    listed, step = node.expressions
    if not isinstance(listed, exp.ArrayPrepend):
        raise Untold("list_reduce without list_prepend")
    return call("aggregate", exp.func("coalesce", listed.this, _none_of_text()), listed.expression, step)


def _none_of_text() -> exp.Expression:
    return exp.cast(exp.Array(), "array<string>")


def _join_list(node: exp.Anonymous) -> exp.Expression:
    """list_aggregate(list, 'string_agg', mark): null where the list is empty."""
    listed, how, mark = node.expressions
    if how.name != "string_agg":
        raise Untold(f"list_aggregate by {how.name}")
    return exp.If(
        this=exp.GT(this=call("size", listed), expression=exp.Literal.number(0)),
        true=call("array_join", listed, mark),
        false=exp.null(),
    )


def collect(node: exp.ArrayAgg) -> exp.Expression | None:
    """A list of no rows is null in DuckDB, empty in Spark; and Spark has no order in it, which sqlglot leaves out without a word."""
    if isinstance(node.this, exp.Order):
        raise Untold("list(... order by ...)")
    if isinstance(node.parent, exp.Filter):
        return None
    return _none_if_empty(node)


def collect_some(node: exp.Filter) -> exp.Expression | None:
    """As collect, where only some rows are collected."""
    return _none_if_empty(node) if isinstance(node.this, exp.ArrayAgg) else None


def _none_if_empty(collected: exp.Expression) -> exp.Expression:
    return call("nullif", collected, exp.Array())


CALLS_ON_LISTS = {"list_reduce": _reduce, "list_aggregate": _join_list}
