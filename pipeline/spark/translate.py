"""One query of DuckDB as Spark SQL. In: its text, the tables it may read, macros, parameters. Out: text for Spark."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from sqlglot import exp, parse_one
from sqlglot.dialects.spark import Spark
from sqlglot.generators.spark import SparkGenerator
from sqlglot.optimizer.annotate_types import annotate_types
from sqlglot.optimizer.qualify import qualify
from sqlglot.schema import MappingSchema
from sqlglot.transforms import preprocess, unnest_to_explode

from pipeline.spark.macros import Macros
from pipeline.spark.shapes import (
    align_by_name,
    drop_hints,
    join_nearest,
    name_alike,
    own_leftovers,
    spell_out_series,
    unfold_records,
)
from pipeline.spark.values import rewrite_values


class Spark4(Spark):
    """Spark 4 knows `qualify`; sqlglot takes it apart, and goes wrong where a window orders by what an alias hides."""

    class Generator(SparkGenerator):
        TRANSFORMS = {**SparkGenerator.TRANSFORMS, exp.Select: preprocess([unnest_to_explode])}


# (schema, table) -> column -> DuckDB's name of its type; temporary tables have the schema `temp`.
Tables = Mapping[tuple[str, str], Mapping[str, str]]


def translate(
    query: exp.Expression, tables: Tables, macros: Macros, parameters: Mapping[str, date | int]
) -> tuple[str, set[tuple[str, str]]]:
    """Spark SQL for a parsed query, and the tables that it reads, each by the name that name_view gives it."""
    query = macros.expand(_put_in(query, parameters))
    query = drop_hints(spell_out_series(unfold_records(query)))
    _name_temporary(query, tables)
    schema = MappingSchema(_nest(tables), dialect="duckdb")
    query = qualify(query, schema=schema, dialect="duckdb", quote_identifiers=False, validate_qualify_columns=True)
    query = own_leftovers(query, lambda table: tables.get((table.db, table.name), ()))
    query = name_alike(align_by_name(query))
    query = annotate_types(query, schema=schema, dialect="duckdb")
    query = join_nearest(rewrite_values(query))
    read = _name_views(query, tables)
    return query.sql(dialect=Spark4), read


def name_view(table: tuple[str, str]) -> str:
    """What a table is called in Spark, where temporary views have no schema."""
    return "__".join(table)


def _put_in(query: exp.Expression, parameters: Mapping[str, date | int]) -> exp.Expression:
    for node in list(query.find_all(exp.Parameter, exp.Placeholder)):
        value = parameters[node.name]
        is_day = isinstance(value, date)
        new = exp.cast(exp.Literal.string(value.isoformat()), "date") if is_day else exp.Literal.number(value)
        if node is query:
            return new
        node.replace(new)
    return query


def _nest(tables: Tables) -> dict:
    nested: dict[str, dict] = {}
    for (schema, table), columns in tables.items():
        nested.setdefault(schema, {})[f'"{table}"'] = {f'"{name}"': kind for name, kind in columns.items()}
    return nested


def _name_temporary(query: exp.Expression, tables: Tables) -> None:
    """Give temporary tables their schema, so that all are known by two names; a query's own `with` comes first."""
    for table in query.find_all(exp.Table):
        if not table.db and ("temp", table.name) in tables and not _is_own(table):
            if not table.alias:
                table.set("alias", exp.TableAlias(this=exp.to_identifier(table.name)))
            table.set("db", exp.to_identifier("temp"))


def _is_own(table: exp.Table) -> bool:
    node = table
    while node is not None:
        found = node.args.get("with_")
        if found and any(entry.alias == table.name for entry in found.expressions):
            return True
        node = node.parent
    return False


def _name_views(query: exp.Expression, tables: Tables) -> set[tuple[str, str]]:
    read = set()
    for table in query.find_all(exp.Table):
        key = (table.db, table.name)
        if table.db and key in tables:
            read.add(key)
            table.set("db", None)
            table.set("this", exp.to_identifier(name_view(key)))
    return read


def parse(text: str) -> exp.Expression:
    return parse_one(text, read="duckdb")
