"""The comparison of two databases tells what differs: without this, equal figures of two engines would prove nothing."""

from __future__ import annotations

import duckdb
import pytest

from tests.spark.compare import compare_databases

ROWS = "values ('A', 1, 0.1, date '2026-01-31'), ('B', 2, null, null), ('B', 2, 1e6, null)"


def write(path, *changes: str):
    with duckdb.connect(str(path)) as con:
        con.execute("create schema duty; create schema figure; create schema record")
        con.execute(f'create table figure.count as select * from ({ROWS}) as row (name, "limit", share, day)')
        con.execute("alter table figure.count alter share type double; create table duty.span as select 1 as span_no")
        con.execute("create table record.unit as select 1 as n")
        for change in changes:
            con.execute(change)
    return path


@pytest.mark.parametrize(
    "change",
    [
        "update figure.count set \"limit\" = 3 where name = 'A'",
        "update figure.count set share = 0.1000000002 where name = 'A'",
        "update figure.count set share = 1e6 + .002 where share = 1e6",
        "update figure.count set share = 0 where share is null",
        "update figure.count set name = 'a' where name = 'A'",
        "update figure.count set day = date '2026-02-01' where name = 'A'",
        "update figure.count set day = null where name = 'A'",
        "delete from figure.count where name = 'A'",
        "insert into figure.count from figure.count where name = 'A'",
        'alter table figure.count alter "limit" type bigint',
        "alter table figure.count rename column day to days",
        "update duty.span set span_no = 2",
        "drop table duty.span",
        "create table figure.more as select 1 as n",
    ],
)
def test_whatever_differs_is_told(tmp_path, change):
    one, other = write(tmp_path / "one.duckdb"), write(tmp_path / "other.duckdb", change)
    assert len(compare_databases(one, other)[1]) == 1
    assert len(compare_databases(other, one)[1]) == 1


@pytest.mark.parametrize(
    "change",
    [
        "update figure.count set share = 0.1 + 1e-15 where name = 'A'",
        "create or replace table figure.count as from figure.count order by name desc, share",
        "update record.unit set n = 2",
    ],
)
def test_last_digits_order_and_records_are_no_difference(tmp_path, change):
    compared, told = compare_databases(write(tmp_path / "one.duckdb"), write(tmp_path / "other.duckdb", change))
    assert (compared, told) == (["duty.span", "figure.count"], [])
