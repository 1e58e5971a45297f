"""Statements that DuckDB and Spark understand differently: translated, Spark gives what DuckDB does."""

from __future__ import annotations

from datetime import date

import duckdb
import numpy as np
import pytest

from pipeline.statements import DUCKDB

pytestmark = pytest.mark.spark

DAYS = "(values (1, date '2020-01-31', 'a'), (2, date '2020-02-29', null), (3, null, 'b'), (4, date '0001-01-01', 'b')) as t (n, day, word)"
RANGES = "(values ('a', date '2020-01-01', 10), ('a', date '2020-02-01', 20), ('b', date '2020-01-15', 30)) as r (k, since, v)"
ASKED = "(values ('a', date '2019-12-31'), ('a', date '2020-01-01'), ('a', date '2020-03-01'), ('b', date '2020-01-20'), ('c', date '2020-01-01')) as q (k, on_day)"
QUERIES = {
    "months clamp": f"select n, (day + to_months(1))::date as later, (day - to_months(13))::date as earlier from {DAYS} where n <> 4",
    "days between": f"select n, day - date '2019-12-31' as days, (day - date '2019-12-31') / 365.25 as years, day + 1 as next from {DAYS}",
    "turns of months": "select datediff('month', a, b) as turns from (values (date '2020-01-31', date '2020-02-01'), "
    "(date '2020-02-01', date '2020-02-29'), (date '2020-02-01', date '2019-12-31')) as t (a, b)",
    "weeks and months": f"select date_trunc('week', day)::date as week, date_trunc('month', day)::date as month, last_day(day) as last from {DAYS}",
    "nulls last": f"select n, row_number() over (order by day, n) as up, row_number() over (order by day desc, n) as down from {DAYS}",
    "whole halves": "select a // 2 as whole, a / 2 as half, a % 2 as rest from (values (-3), (3), (4)) as t (a)",
    "nearest integer": "select a::integer as nearest from (values (0.5::double), (1.5::double), (-0.5::double), (2.4::double)) as t (a)",
    "decimals divide": "select a * 1.5 / 7 as share, 100 * a / 3 as pct from (values (1), (2)) as t (a)",
    "largest by": f"select word, arg_max(day, n) as last_day, arg_min(word, (day, n)) as w, count(distinct (word, day)) as kinds from {DAYS} group by word",
    "lists": f"select list_contains(['a', 'b'], word) as has, list_position(['b', 'a'], word) as place, "
    f"list_reduce(list_prepend(word, ['x', 'y']), lambda s, w: s || w) as said, list_filter(['a', 'b'], lambda w: w <> word) as others from {DAYS}",
    "no list of no rows": f"select n, array_to_string(list_sort(list_distinct(list(word) filter (n > 3))), ', ') as words from {DAYS} group by n",
    "joined texts": f"select string_agg(distinct word, '; ' order by word) as words, concat_ws(', ', min(word), null, max(word)) as two from {DAYS}",
    "list to text": "select list_aggregate(list_filter(['a', 'b'], lambda w: w > x), 'string_agg', ', ') as left_over from (values ('a'), ('c')) as t (x)",
    "dates as text": f"select strftime(day, '%-d %b %Y') as d, strftime(day, '%Y-%m') as m, day::varchar as iso from {DAYS} where n < 4",
    "digits": "select printf('%.2f', a) as p, a::varchar as v, 'x' || a as s from (values (0.125::double), (2.675::double), (1e7::double), (0.0005::double)) as t (a)",
    "only what is a day": "select try_cast(t as date) as d, try_cast(t as double) as f from (values ('2020'), ('2020-02'), ('2020-2-3'), "
    "('2020-02-30'), ('5d'), ('5.5'), ('x'), (''), (null)) as t (t)",
    "series": "select n, day::date as day from range(0, 3) as series (n), unnest(generate_series(timestamp '2020-01-30', timestamp '2020-02-02', "
    "interval 1 day)) as days (day)",
    "records": f"select n, unnest([{{'name': 'one', 'value': n}}, {{'name': 'two', 'value': 10 * n}}], recursive := true) from {DAYS}",
    "by name": f"select 1 as a, word as b from {DAYS} union all by name select word as b, 2 as c from {DAYS}",
    "the last before": f"select q.*, v from {ASKED} asof left join {RANGES} on r.k = q.k and q.on_day >= r.since",
    "the first after": f"select q.*, v from {ASKED} asof join {RANGES} on r.k = q.k and r.since >= q.on_day",
    "read twice": f"with t as not materialized (select n, day from {DAYS}) (select a.n, b.day from t as a join t as b on b.n = a.n + 1 "
    "order by all) union all select n, null from t",
    "any but": f"select * exclude (word) replace (day + 1 as day) from {DAYS} qualify row_number() over (partition by word order by n) = 1",
    "middle": f"select median(n) as n, median(day - date '2020-01-01') filter (n < 3) as days from {DAYS}",
    "sets of groups": f"select coalesce(word, '*') as word, count(*) as n, count(distinct n) filter (n > 1) as more from {DAYS} where word is not null "
    "group by grouping sets ((word), ())",
    "unlike or null": f"select n, word is distinct from 'a' as other, word not in ('a') as out from {DAYS}",
    "parameters": f"select n, $as_of::date - day as days from {DAYS} where day <= $as_of::date",
    "regular expressions": r"select regexp_replace(lower(t), '[^\p{L}\p{M}\p{N}]+', ' ', 'g') as folded, regexp_replace(t, '\.0$', '') as cut, "
    r"trim(t, ' |') as bare from (values ('Löschdecke: A-B'), (' |12.0'), ('a.0 | ')) as t (t)",
}  # fmt: skip


@pytest.fixture(scope="module")
def engine(tmp_path_factory):
    from pipeline.spark.engine import SparkEngine
    from pipeline.spark.session import open_session

    folder = tmp_path_factory.mktemp("spark")
    with open_session("local[2]", folder) as session:
        yield SparkEngine(session, folder)


@pytest.fixture
def con():
    with duckdb.connect() as con:
        con.execute("set TimeZone = 'UTC'; create schema one; create schema other")
        yield con


@pytest.mark.parametrize("name", QUERIES)
def test_spark_gives_what_duckdb_does(engine, con, name):
    for schema, statements in (("one", DUCKDB), ("other", engine)):
        statements.run(con, f"create table {schema}.t as {QUERIES[name]}", {"as_of": date(2020, 3, 1)})
    assert engine.ran_on["other.t"] == "spark"
    kinds, rows = zip(*((con.execute(f"describe {schema}.t").fetchall(), con.execute(f"from {schema}.t order by all").fetchall())
                        for schema in ("one", "other")), strict=True)  # fmt: skip
    assert kinds[0] == kinds[1] and rows[1] == rows[0] != []


def test_macros_tables_and_changes_between_statements(engine, con):
    """Macros on values, rows and tables; a table that Python changed; temporary tables of one name after another."""
    text = """
        create macro twice(x) as 2 * x; create macro grown(p, added) as twice(p.n) + added;
        create macro above(rows, least) as table select given.*, n > least as is_above from query_table(rows) as given where n >= least;
        create temp table step as select n, n * 1.5 as half from range(5) as t (n);
        create table {0}.made as select n, grown(step, 1) as grown from step where n > 1;
        create or replace temp table step as select * from above(step, 3);
        create table {0}.kept as select * from step;
        create table {0}.filled (n integer);
    """
    seen = {}
    for schema, statements in (("one", DUCKDB), ("other", engine)):
        statements.run(con, text.format(schema))
        con.execute(f"insert into {schema}.filled values (7); update {schema}.kept set half = 0")
        statements.forget()
        statements.run(
            con, f"create table {schema}.last as select n, half from {schema}.kept union all select n, 1 from {schema}.filled"
        )
        seen[schema] = [con.execute(f"from {schema}.{table} order by all").fetchall() for table in ("made", "kept", "last")]
        con.execute("drop table step; drop macro twice; drop macro grown; drop macro table above")
    assert seen["one"] == seen["other"] and seen["other"][2] == [(3, 0), (4, 0), (7, 1)]


def test_doubles_are_rounded_and_written_alike(engine, con):
    draw = np.random.default_rng(20261128)
    whole = draw.integers(-(10**6), 10**6, 4000)
    values = np.concatenate(
        [
            whole / 10.0 ** draw.integers(1, 6, 4000),
            (whole * 10 + 5) / 10.0 ** draw.integers(2, 5, 4000),
            draw.normal(0, 1e3, 4000),
        ]
    )
    con.execute(
        "create table one.value as select unnest($v) as v, unnest($n)::integer as places",
        {"v": values.tolist(), "n": draw.integers(0, 7, 12000).tolist()},
    )
    query = "select v, places, round(v, places) as r, round(v) as w, v::varchar as t, v::bigint as b, 'x' || round(v, 2) as s from one.value"
    for schema, statements in (("one", DUCKDB), ("other", engine)):
        statements.run(con, f"create table {schema}.t as {query}")
    assert con.execute("select count(*) from (from one.t except all from other.t)").fetchall() == [(0,)]
    assert con.execute("select count(*) from other.t where r <> v and t <> s").fetchone()[0] > 4000
