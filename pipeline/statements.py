"""SQL in files, statement by statement. In: a connection, a text, parameters. Out: the tables that it makes.

Duties and figures take whoever runs their SQL: DuckDB as here, or Spark (pipeline/spark/engine.py).
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from importlib.resources import files
from typing import Any

import duckdb

MADE = re.compile(r"^create (?:temp )?table (\S+) as\b", re.MULTILINE)
Slice = dict[str, int]  # what a text names as $first and $last


def read_sql(room: str, name: str) -> str:
    """The SQL of a file of that name in a package, as in read_sql("pipeline.duties", "spans")."""
    return files(room).joinpath(f"{name}.sql").read_text(encoding="utf-8")


def run_sql(con: duckdb.DuckDBPyConnection, text: str, parameters: Mapping[str, Any] | None = None) -> None:
    """Run each statement on DuckDB, with those of the parameters that it names."""
    for statement in duckdb.extract_statements(text):
        con.execute(statement, name_values(statement, parameters))


class Statements:
    """DuckDB runs them."""

    def run(self, con: duckdb.DuckDBPyConnection, text: str, parameters: Mapping[str, Any] | None = None) -> None:
        """Run each statement, with those of the parameters that it names."""
        run_sql(con, text, parameters)

    def run_slices(
        self, con: duckdb.DuckDBPyConnection, text: str, slices: Sequence[Slice], parameters: Mapping[str, Any] | None = None
    ) -> None:
        """Run a text on slices that follow each other: its tables are made of the first and grown by the others.

        So what a statement sorts and holds is a slice and not the fleet.
        """
        for number, part in enumerate(slices):
            self.run(con, MADE.sub(r"insert into \1", text) if number else text, {**(parameters or {}), **part})

    def forget(self) -> None:
        """The tables of the last text were changed since, by Python: nothing kept of them outside the database holds any more."""


def name_values(statement: duckdb.Statement, parameters: Mapping[str, Any] | None) -> dict[str, Any] | None:
    """Those of the parameters that the statement names; None if it names none."""
    return {name: parameters[name] for name in statement.named_parameters} or None


DUCKDB = Statements()
