"""Shapes of queries that Spark SQL has not. In: a parsed query of DuckDB. Out: the same in shapes that it has.

`before` runs on the query as it is written, `after` once its columns are qualified and its stars spelt out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from sqlglot import exp
from sqlglot.optimizer.scope import Scope, traverse_scope


def unfold_records(query: exp.Expression) -> exp.Expression:
    """`select a, unnest([{'m': x}], recursive := true)`: an unnest of records, whose fields the query around it then takes."""
    for call in list(query.find_all(exp.Unnest, exp.Explode)):
        listed = call.expressions[0] if isinstance(call, exp.Unnest) else call.this
        select = call.parent_select
        if not isinstance(listed, exp.Array) or not listed.expressions or not isinstance(listed.expressions[0], exp.Struct):
            continue
        if call not in select.expressions:
            continue
        fields = [entry.name for entry in listed.expressions[0].expressions]
        call.replace(exp.alias_(exp.Explode(this=listed.copy()), "unfolded"))
        outer = exp.select(
            exp.Star(except_=[exp.to_identifier("unfolded")]),
            *(exp.alias_(exp.Dot.build([exp.column("unfolded"), exp.to_identifier(name)]), name) for name in fields),
        )
        new = outer.from_(exp.Subquery(this=select.copy(), alias=exp.TableAlias(this=exp.to_identifier("folded"))))
        query = new if select is query else query
        select.replace(new)
    return query


def spell_out_series(query: exp.Expression) -> exp.Expression:
    """`range(0, 30) as number (n)` among the tables: a query that makes the rows. sqlglot takes the alias for a table's and loses the column's."""
    for table in list(query.find_all(exp.Table)):
        if isinstance(table.this, exp.GenerateSeries):
            alias = table.args["alias"]
            rows = exp.select(exp.alias_(exp.Explode(this=table.this.copy()), alias.columns[0].name))
            table.replace(exp.Subquery(this=rows, alias=exp.TableAlias(this=alias.this.copy())))
    return query


def drop_hints(query: exp.Expression) -> exp.Expression:
    """`with a as not materialized (...)`: Spark decides by itself."""
    for part in query.find_all(exp.CTE):
        part.set("materialized", None)
    return query


def own_leftovers(query: exp.Expression, columns_of: Callable[[exp.Table], Iterable[str]]) -> exp.Expression:
    """Columns joined by `using` that sqlglot leaves without a table in windows: they get the first table that has them."""
    for scope in traverse_scope(query):
        select = scope.expression
        if not isinstance(select, exp.Select) or not select.args.get("joins"):
            continue
        for column in select.find_all(exp.Column):
            if column.table or not column.find_ancestor(exp.Qualify, exp.Window) or column.parent_select is not select:
                continue
            for name, (node, source) in scope.selected_sources.items():
                names = source.expression.named_selects if isinstance(source, Scope) else columns_of(node)
                if column.name in names:
                    column.set("table", exp.to_identifier(name))
                    break
    return query


def align_by_name(query: exp.Expression) -> exp.Expression:
    """`union all by name`: the right side's columns in the order of the left one's, null where it has none, and the other way round."""
    for union in reversed(list(query.find_all(exp.SetOperation))):
        if not union.args.get("by_name"):
            continue
        names = list(dict.fromkeys([*_names(union.left), *_names(union.right)]))
        for side in ("this", "expression"):
            union.set(side, _pick(union.args[side], names))
        union.set("by_name", False)
    return query


def name_alike(query: exp.Expression) -> exp.Expression:
    """The columns of every part of a union by the names of the first: sqlglot calls two constants of the second by one name."""
    for union in query.find_all(exp.SetOperation):
        names = _names(union.left)
        right = union.right.unnest()
        if isinstance(right, exp.Select):
            right.set(
                "expressions",
                [exp.alias_(column.unalias(), name, quoted=True) for column, name in zip(right.expressions, names, strict=True)],
            )
    return query


def _names(query: exp.Expression) -> list[str]:
    return query.named_selects


def _pick(query: exp.Expression, names: list[str]) -> exp.Expression:
    """The query with these columns in this order; null for one that it has not."""
    if isinstance(query, exp.Subquery):
        query.set("this", _pick(query.this, names))
        return query
    if isinstance(query, exp.SetOperation):
        for side in ("this", "expression"):
            query.set(side, _pick(query.args[side], names))
        return query
    found = {column.alias_or_name: column for column in query.expressions}
    query.set("expressions", [found.get(name) or exp.alias_(exp.null(), name) for name in names])
    return query


def join_nearest(query: exp.Expression) -> exp.Expression:
    """`asof join b on a.k = b.k and a.t >= b.t`: b's rows each with the next one's t, joined where a.t lies between. Of two of b's rows
    with one t either may be the nearest, so b must have one."""
    for join in list(query.find_all(exp.Join)):
        if join.args.get("method") != "ASOF":
            continue
        join.set("method", None)
        right = join.this.alias_or_name
        keys, bound = [], None
        for part in join.args["on"].flatten():
            left, other = part.unnest().this, part.unnest().expression
            if isinstance(part.unnest(), exp.EQ):
                keys.append(left if left.table == right else other)
            else:
                bound = part.unnest()
        mine = bound.this if bound.this.table == right else bound.expression
        theirs = bound.expression if mine is bound.this else bound.this
        # whether the nearest is the last one not after (b.t <= a.t) or the first one not before
        is_last = isinstance(bound, exp.LTE | exp.LT) == (mine is bound.this)
        window = exp.Window(
            this=(exp.Lead if is_last else exp.Lag)(this=exp.column(mine.name)),
            partition_by=[exp.column(key.name) for key in keys],
            order=exp.Order(expressions=[exp.Ordered(this=exp.column(mine.name), nulls_first=False)]),
        )
        inner = exp.select(exp.Star(), exp.alias_(window, "nearest_until")).from_(join.this.copy())
        join.set("this", exp.Subquery(this=inner, alias=exp.TableAlias(this=exp.to_identifier(right))))
        until = exp.column("nearest_until", table=right)
        beyond = (exp.LT if is_last else exp.GT)(this=theirs.copy(), expression=until)
        join.set("on", exp.and_(join.args["on"], exp.or_(exp.Is(this=until.copy(), expression=exp.null()), beyond)))
    return query
