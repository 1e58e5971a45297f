"""great-expectations on a DuckDB connection that is already open.

In: the connection, a table of its main schema and the checks. Out: failing rows per check, as great-expectations
counts them. Out of the box 1.24 fetches after closing its connection, where DuckDB's cursor is empty; the first two
subclasses keep one connection, the third saves time. tests/pinned says what is relied on.
"""

from __future__ import annotations

import contextlib
import gc
import os
from collections.abc import Callable
from typing import ClassVar

os.environ["GX_ANALYTICS_ENABLED"] = "false"  # read once, at import: nothing is to leave this machine

import great_expectations as gx
import great_expectations.expectations as gxe
import sqlalchemy as sa
from duckdb_engine import ConnectionWrapper
from great_expectations.compatibility.pydantic import PrivateAttr
from great_expectations.datasource.fluent.sql_datasource import SQLDatasource
from great_expectations.execution_engine import SqlAlchemyExecutionEngine
from great_expectations.expectations.expectation_configuration import ExpectationConfiguration

from pipeline.checks.predicates import Check
from pipeline.errors import UserError

gc.freeze()  # these imports make a million objects that stay: looking through them again and again took a tenth of a small run


class KeptConnectionEngine(SqlAlchemyExecutionEngine):
    """An execution engine that hands out one connection and never closes it."""

    @contextlib.contextmanager
    def get_connection(self):
        if self._connection is None:
            self._connection = self.engine.connect()
        yield self._connection

    def close_kept(self) -> None:
        """Close the kept connection, ending its transaction."""
        if self._connection is not None:
            self._connection.close()
            self._connection = None
        self.engine.dispose()


class KeptConnectionSource(SQLDatasource):
    """A data source whose engine keeps its connection."""

    type: str = "kept_connection"

    @property
    def execution_engine_type(self):
        return KeptConnectionEngine


class RowsExpectation(gxe.UnexpectedRowsExpectation):
    """Counts the rows and doesn't list them: the list is a second pass over the table, and only a complete result shows it.

    Asked for its configuration some forty times a run, which costs half of all that great-expectations does; ours never changes.
    """

    metric_dependencies: ClassVar[tuple[str, ...]] = ("unexpected_rows_query.row_count",)
    _configuration: ExpectationConfiguration | None = PrivateAttr(default=None)

    @property
    def configuration(self) -> ExpectationConfiguration:
        if self._configuration is None:
            self._configuration = super().configuration
        return self._configuration

    def _validate(self, metrics: dict, *others, **named):
        return super()._validate(metrics | {"unexpected_rows_query.table": []}, *others, **named)


def count_failing(con, table_name: str, checks: list[Check], keep: Callable[[str, dict], None] | None = None) -> list[int]:
    """Rows of the table that fail each check, in the checks' order, as great-expectations counts them.

    A second connection to the same file would be refused, so it works on a cursor of `con`; a fresh one each time,
    because SQLAlchemy keeps a transaction open that would not see the tables made after it began.
    `keep` is given the table's name and the whole result in great-expectations' own JSON.
    Raises UserError check-crashed: a check that could not be carried out is not a failed check.
    """
    cursor = con.cursor()
    source = _open_source(cursor)
    try:
        asset = source.add_table_asset(table_name, table_name=table_name)
        result = asset.add_batch_definition_whole_table("all").get_batch().validate(_suite(table_name, checks))
    finally:
        source.get_execution_engine().close_kept()
        cursor.close()
    counts: dict[int, int] = {}
    for item in result.results:
        number = item.expectation_config.meta["check_no"]
        counts[number] = _read_count(item, checks[number])
    if keep:
        keep(table_name, result.to_json_dict())
    return [counts[number] for number in range(len(checks))]


def _open_source(cursor) -> KeptConnectionSource:
    context = gx.get_context(mode="ephemeral")
    context.variables.progress_bars = {"globally": False, "metric_calculations": False}
    source = KeptConnectionSource(
        name="firekpi",
        connection_string="duckdb:///:memory:",
        kwargs={"creator": lambda: ConnectionWrapper(cursor), "poolclass": sa.pool.StaticPool},
    )
    source._data_context = context
    return source


def _suite(table_name: str, checks: list[Check]) -> gx.ExpectationSuite:
    return gx.ExpectationSuite(
        name=table_name,
        expectations=[
            RowsExpectation(
                unexpected_rows_query=f"select 1 as failing from {{batch}} where {_escape(check.failing_sql)}",
                meta={"check_no": number, "rule": check.rule, "column": check.column, "title": check.title},
            )
            for number, check in enumerate(checks)
        ],
    )


def _read_count(result, check: Check) -> int:
    if "observed_value" not in result.result:
        details = result.exception_info or {}
        entries = details.values() if "exception_message" not in details else [details]
        why = next((entry["exception_message"] for entry in entries if entry.get("exception_message")), "no result")
        raise UserError("check-crashed", check=f"{check.rule} of {check.column}", table=check.table, why=why)
    return int(result.result["observed_value"])


def _escape(sql: str) -> str:
    """Braces would be read as parameters of the query."""
    return sql.replace("{", "{{").replace("}", "}}")
