"""SQL in files, statement by statement. In: a connection, a text, parameters. Out: the tables that it makes.

Duties and figures take whoever runs their SQL: DuckDB as here, or Spark (pipeline/spark/engine.py).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import duckdb


def run_sql(con: duckdb.DuckDBPyConnection, text: str, parameters: Mapping[str, Any] | None = None) -> None:
    """Run each statement on DuckDB, with those of the parameters that it names."""
    for statement in duckdb.extract_statements(text):
        con.execute(statement, name_values(statement, parameters))


class Statements:
    """DuckDB runs them."""

    def run(self, con: duckdb.DuckDBPyConnection, text: str, parameters: Mapping[str, Any] | None = None) -> None:
        """Run each statement, with those of the parameters that it names."""
        run_sql(con, text, parameters)

    def forget(self) -> None:
        """The tables of the last text were changed since, by Python: nothing kept of them outside the database holds any more."""


def name_values(statement: duckdb.Statement, parameters: Mapping[str, Any] | None) -> dict[str, Any] | None:
    """Those of the parameters that the statement names; None if it names none."""
    return {name: parameters[name] for name in statement.named_parameters} or None


DUCKDB = Statements()
