"""What we rely on in great-expectations on DuckDB. If one of these fails after an upgrade, read gx_duckdb.py first."""

from dataclasses import replace

import duckdb
import great_expectations as gx
import great_expectations.expectations as gxe
import pytest
import sqlalchemy as sa
from duckdb_engine import ConnectionWrapper
from great_expectations.datasource.fluent.sql_datasource import SQLDatasource

from pipeline.checks.gx_duckdb import count_failing
from pipeline.checks.predicates import Check
from pipeline.errors import UserError

POSITIVE = Check("thing", "positive", "n", "positive", "n > 0", "n::varchar", "n is {value}")


@pytest.fixture
def con():
    con = duckdb.connect()
    con.execute("create table thing as select * from (values (1), (-2), (null), (-4), (500)) as thing (n)")
    yield con
    con.close()


def test_the_stock_data_source_fails_on_duckdb(con):
    """The reason for the shim: the stock engine fetches from a cursor that is already closed."""
    source = SQLDatasource(
        name="stock",
        connection_string="duckdb:///:memory:",
        kwargs={"creator": lambda: ConnectionWrapper(con), "poolclass": sa.pool.StaticPool},
    )
    source._data_context = gx.get_context(mode="ephemeral")
    batch = source.add_table_asset("thing", table_name="thing").add_batch_definition_whole_table("all").get_batch()
    result = batch.validate(gxe.ExpectColumnValuesToNotBeNull(column="n"))
    assert any(entry["raised_exception"] for entry in result.exception_info.values())


def test_the_shim_counts_failing_rows_and_lets_null_pass(con):
    checks = [POSITIVE, replace(POSITIVE, predicate="n < 100"), replace(POSITIVE, predicate="true")]
    assert count_failing(con, "thing", checks) == [2, 1, 0]


def test_more_failing_rows_than_any_list_cap_are_counted(con):
    con.execute("create table many as select -range as n from range(1, 5001)")
    assert count_failing(con, "many", [POSITIVE]) == [5000]


def test_a_table_made_after_an_earlier_count_is_seen(con):
    count_failing(con, "thing", [POSITIVE])
    con.execute("create table later as select -1 as n")
    assert count_failing(con, "later", [POSITIVE]) == [1]


def test_braces_in_a_predicate_are_not_parameters(con):
    check = replace(POSITIVE, predicate="regexp_full_match(n::varchar, '[0-9]{1,2}')")
    assert count_failing(con, "thing", [check]) == [3]


def test_a_crashed_check_is_an_error_and_not_a_failed_check(con):
    with pytest.raises(UserError) as caught:
        count_failing(con, "thing", [replace(POSITIVE, predicate="no_such_column > 0")])
    assert caught.value.slug == "check-crashed"
    assert "no_such_column" in str(caught.value)


def test_nothing_is_reported_to_the_outside():
    import os

    assert os.environ["GX_ANALYTICS_ENABLED"] == "false"
