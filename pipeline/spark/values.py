"""Values that Spark SQL works out otherwise than DuckDB, or under another name. In: a query with types. Out: the same values in Spark.

Each rule says what would differ. What sqlglot translates rightly by itself stands here not.
"""

from __future__ import annotations

from collections.abc import Callable

from sqlglot import exp

from pipeline.spark.lists import CALLS_ON_LISTS, Untold, call, collect, collect_some

INTEGERS = exp.DataType.INTEGER_TYPES
REALS = {exp.DType.DOUBLE, exp.DType.FLOAT}
# Under one meaning two names; those of pipeline/spark/functions.py are ours.
NAMES = {"printf": "c_printf", "map_contains": "map_contains_key", "list_position": "place_in"}


def rewrite_values(query: exp.Expression) -> exp.Expression:
    """The query with every rule applied, the innermost values first."""
    for node in reversed(list(query.walk(bfs=True))):
        rule = RULES.get(type(node))
        new = rule(node) if rule else None
        if new is not None and new is not node:
            new.type = new.type or node.type
            node.replace(new)
    return query


def _is(node: exp.Expression | None, kinds: set) -> bool:
    return node is not None and node.type is not None and node.type.this in kinds


def _number(node: exp.Literal) -> exp.Expression | None:
    """1.5 is a decimal in both, but Spark divides decimals into decimals, which end after some places."""
    if node.is_string or node.is_int or isinstance(node.parent, exp.Cast):
        return None
    return exp.cast(node.copy(), "double")


def _subtract(node: exp.Sub) -> exp.Expression | None:
    """A day minus a day is days in DuckDB, an interval in Spark."""
    if not (_is(node.left, {exp.DType.DATE}) and _is(node.right, {exp.DType.DATE})):
        return None
    return exp.cast(call("date_diff", node.left, node.right), "bigint")


def _months_between(node: exp.DateDiff) -> exp.Expression | None:
    """datediff('month') counts turns of months, Spark's whole months; sqlglot lets it pass as the same."""
    if node.text("unit").upper() != "MONTH":
        raise Untold(f"datediff by {node.text('unit')}")
    later, earlier = node.this, node.expression
    return exp.paren(exp.Sub(this=_count_months(later), expression=_count_months(earlier)))


def _count_months(day: exp.Expression) -> exp.Expression:
    months = exp.Add(this=exp.Mul(this=call("year", day), expression=exp.Literal.number(12)), expression=call("month", day))
    return exp.paren(exp.cast(exp.paren(months), "bigint"))


def _anonymous(node: exp.Anonymous) -> exp.Expression | None:
    name = node.name.lower()
    if name == "to_months":
        return call("make_ym_interval", exp.Literal.number(0), exp.cast(node.expressions[0].copy(), "int"))
    if name == "to_years":
        return call("make_ym_interval", exp.cast(node.expressions[0].copy(), "int"), exp.Literal.number(0))
    if name in CALLS_ON_LISTS:
        return CALLS_ON_LISTS[name](node)
    return call(NAMES[name], *node.expressions) if name in NAMES else None


def _round(node: exp.Round) -> exp.Expression | None:
    """DuckDB rounds the number that the double is, Spark the digits as it is written: 1.005 to two places is 1.0, and 1.01."""
    value, places = node.this, node.args.get("decimals")
    return call("round_to", value, places) if places is not None and _is(value, REALS) else None


def _cast(node: exp.Cast) -> exp.Expression | None:
    """A double becomes the nearest integer in DuckDB and is cut off in Spark; as text it is written otherwise."""
    value, kind = node.this, node.to.this
    if isinstance(node, exp.TryCast):
        return _try_cast(node)
    if isinstance(value, exp.Explode):  # Spark takes no row-making function within another
        return exp.Explode(
            this=exp.cast(value.this.copy(), exp.DataType(this=exp.DType.ARRAY, expressions=[node.to.copy()], nested=True))
        )
    if _is(value, REALS) and kind in INTEGERS:
        return exp.cast(call("rint", value), node.to.copy())
    if _is(value, REALS) and kind in exp.DataType.TEXT_TYPES:
        return call("write_double", value)
    return None


def _try_cast(node: exp.TryCast) -> exp.Expression | None:
    """Spark reads '2020' as a day and '5d' as a number."""
    patterns = {
        exp.DType.DATE: r"^\s*[0-9]+-[0-9]{1,2}-[0-9]{1,2}.*$",
        exp.DType.DOUBLE: r"^\s*[-+]?[0-9.]+([eE][-+]?[0-9]+)?\s*$",
    }
    if node.to.this not in patterns or not _is(node.this, exp.DataType.TEXT_TYPES):
        return None
    looks_right = exp.RegexpLike(this=node.this.copy(), expression=exp.Literal.string(patterns[node.to.this]))
    return exp.If(this=looks_right, true=node.copy(), false=exp.null())


def _concat(node: exp.DPipe) -> exp.Expression | None:
    """A double within a text is written as a cast would."""
    if not (_is(node.left, REALS) or _is(node.right, REALS)):
        return None
    sides = [call("write_double", side) if _is(side, REALS) else side.copy() for side in (node.left, node.right)]
    return exp.DPipe(this=sides[0], expression=sides[1], safe=node.args.get("safe"))


def _extreme(node: exp.ArgMax | exp.ArgMin) -> exp.Expression | None:
    """DuckDB leaves out rows whose value is null, Spark gives the null."""
    condition = exp.not_(exp.Is(this=node.this.copy(), expression=exp.null()))
    outer = node.parent
    if isinstance(outer, exp.Filter):
        outer.set("expression", exp.Where(this=exp.and_(outer.expression.this, condition)))
        return None
    return exp.Filter(this=node.copy(), expression=exp.Where(this=condition))


def _tuple(node: exp.Tuple) -> exp.Expression | None:
    """Spark counts a tuple as several values, and leaves out those that hold a null."""
    if isinstance(node.parent, exp.In) and node.arg_key != "this":
        return None
    if isinstance(node.parent, exp.Distinct | exp.ArgMax | exp.ArgMin | exp.GT | exp.EQ):
        return call("struct", *node.expressions)
    return None


def _character(node: exp.Chr) -> exp.Expression:
    """Spark's chr knows 256 characters."""
    return exp.Literal.string(chr(int(node.expressions[0].name)))


RULES: dict[type, Callable[[exp.Expression], exp.Expression | None]] = {
    exp.Literal: _number,
    exp.Sub: _subtract,
    exp.DateDiff: _months_between,
    exp.Anonymous: _anonymous,
    exp.Round: _round,
    exp.Cast: _cast,
    exp.TryCast: _cast,
    exp.DPipe: _concat,
    exp.ArgMax: _extreme,
    exp.ArgMin: _extreme,
    exp.ArrayAgg: collect,
    exp.Filter: collect_some,
    exp.Tuple: _tuple,
    exp.Chr: _character,
}
