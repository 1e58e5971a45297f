"""Runs the SQL of duties and figures on Spark. In: the database with its records. Out: the same tables in it as DuckDB would make.

Each `create table ... as select` is translated and run by Spark on Parquet; its result comes back into the database as it was made, so
that Python (`fill`), pages and packs read it there. All else (tables that Python fills, `drop`, `delete`, `update`) DuckDB runs.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import duckdb
from sqlglot import exp
from sqlglot.errors import SqlglotError

from pipeline import contract
from pipeline.errors import UserError
from pipeline.spark.functions import register_functions
from pipeline.spark.lists import Untold
from pipeline.spark.macros import Macros, strip_comments
from pipeline.spark.session import say_first
from pipeline.spark.translate import Tables, name_view, parse, translate
from pipeline.statements import Slice, Statements, name_values

MADE = re.compile(r"\s*create\s+(or\s+replace\s+)?(temp\s+)?table\s+(\S+)\s+as\s+(.*)", re.IGNORECASE | re.DOTALL)
CHANGED = re.compile(r"\s*(?:insert\s+into|update|delete\s+from|create\s+table|drop\s+table)\s+([\w.\"]+)", re.IGNORECASE)
COLUMNS = """
    select case when database_name = 'temp' then 'temp' else schema_name end, table_name, column_name, data_type
    from duckdb_columns() where not internal order by database_name, schema_name, table_name, column_index"""
Key = tuple[str, str]


class SparkEngine(Statements):
    """One run's tables on Spark. `ran_on` tells of each table that SQL makes who made it: 'spark' or 'duckdb'."""

    def __init__(self, session, folder: Path) -> None:
        self.ran_on: dict[str, str] = {}
        self._session = session
        self._folder = folder
        self._macros = Macros()
        self._known: set[Key] = set()
        self._last: set[Key] = set()
        self._made = 0
        register_functions(session)
        for statement in duckdb.extract_statements(contract.macros_sql()):
            self._macros.define(statement.query)

    def run(self, con: duckdb.DuckDBPyConnection, text: str, parameters: Mapping[str, Any] | None = None) -> None:
        """Run each statement where it belongs. Raises UserError spark-failed."""
        self._last = set()
        for statement in duckdb.extract_statements(text):
            query = strip_comments(statement.query)
            values = name_values(statement, parameters)
            if made := MADE.match(query):
                self._make(con, made, values)
                continue
            self._macros.define(query)
            con.execute(statement, values)
            if changed := CHANGED.match(query):
                self._known.discard(_key_of(changed[1], is_temporary=False))
                self._known.discard(_key_of(changed[1], is_temporary=True))

    def run_slices(
        self, con: duckdb.DuckDBPyConnection, text: str, slices: Sequence[Slice], parameters: Mapping[str, Any] | None = None
    ) -> None:
        """Run it once on all of them: Spark parts the work itself."""
        self.run(con, text, {**(parameters or {}), "first": slices[0]["first"], "last": slices[-1]["last"]})

    def forget(self) -> None:
        """Read the tables of the last text anew from the database when next asked."""
        self._known -= self._last

    def _make(self, con: duckdb.DuckDBPyConnection, made: re.Match, values: dict[str, Any] | None) -> None:
        replacing, temporary, name, query = made.groups()
        tables = list_tables(con)
        sql, read = self._translate(name, query, tables, values or {})
        for key in sorted(read):
            self._show(con, key, tables[key])
        wanted = [row[:2] for row in con.execute(f"describe {query}", values).fetchall()]
        path = self._write(name, sql, wanted)
        files = [str(file) for file in sorted(path.glob("part-*.parquet"))]
        columns = ", ".join(f'"{column}"::{kind} as "{column}"' for column, kind in wanted)
        con.execute(
            f"create {replacing or ''}{temporary or ''}table {name} as select {columns} from read_parquet($files)",
            {"files": files},
        )
        key = _key_of(name, bool(temporary))
        self._session.read.parquet(str(path)).createOrReplaceTempView(name_view(key))
        self._known.add(key)
        self._last.add(key)
        self.ran_on[name] = "spark"

    def _translate(self, name: str, query: str, tables: Tables, values: dict[str, Any]) -> tuple[str, set[Key]]:
        try:
            return translate(parse(query), tables, self._macros, values)
        except (Untold, SqlglotError) as error:
            raise UserError("spark-failed", table=name, why=f"it can't be told in Spark's SQL: {say_first(error)}") from error

    def _show(self, con: duckdb.DuckDBPyConnection, key: Key, columns: Mapping[str, str]) -> None:
        """Let Spark see a table of the database, if it doesn't yet."""
        if key in self._known:
            return
        path = self._folder / f"{self._next()}_{name_view(key)}.parquet"
        listed = ", ".join(f'"{name}"::{_plain(kind)} as "{name}"' for name, kind in columns.items())
        con.execute(f"copy (select {listed} from {'.'.join(_quote(part) for part in key)}) to '{_escape(path)}' (format parquet)")
        self._session.read.parquet(str(path)).createOrReplaceTempView(name_view(key))
        self._known.add(key)

    def _write(self, name: str, sql: str, wanted: list[tuple[str, str]]) -> Path:
        from pyspark.sql import functions

        path = self._folder / f"{self._next()}_{name.replace('.', '__')}"
        try:
            frame = self._session.sql(sql)
            frame = frame.toDF(*(f"c{place}" for place in range(len(frame.columns))))
            typed = [functions.col(f"c{n}").cast(spark_type(kind)).alias(column) for n, (column, kind) in enumerate(wanted)]
            frame.select(*typed).write.parquet(str(path))
        except Exception as error:  # pyspark's own and Java's
            raise UserError("spark-failed", table=name, why=say_first(error)) from error
        return path

    def _next(self) -> str:
        self._made += 1
        return f"{self._made:04d}"


def list_tables(con: duckdb.DuckDBPyConnection) -> Tables:
    """Every table of the database with its columns and their types."""
    tables: dict[Key, dict[str, str]] = {}
    for schema, table, column, kind in con.execute(COLUMNS).fetchall():
        tables.setdefault((schema, table), {})[column] = kind
    return tables


def spark_type(kind: str) -> str:
    """Spark's name of a type of DuckDB's."""
    return exp.DataType.build(_plain(kind), dialect="duckdb").sql(dialect="spark")


def _plain(kind: str) -> str:
    """Sums of integers are of 128 bits in DuckDB, which Spark has not; none of ours comes near 64."""
    return kind.replace("HUGEINT", "BIGINT")


def _key_of(name: str, is_temporary: bool) -> Key:
    schema, _, table = name.replace('"', "").rpartition(".")
    return ("temp" if is_temporary else schema or "main", table)


def _quote(part: str) -> str:
    return f'"{part}"'


def _escape(path: Path) -> str:
    return str(path).replace("'", "''")
