"""What is missing for Spark is said in one sentence, before anything is read."""

from __future__ import annotations

import socket
import sys
from unittest.mock import MagicMock

import duckdb
import pytest

from pipeline import cli
from pipeline.errors import UserError
from pipeline.spark import session


@pytest.mark.parametrize("missing", ["pyspark", "sqlglot"])
def test_without_the_extra_it_says_what_to_install(exports, small_fleet, tmp_path, monkeypatch, capsys, missing):
    monkeypatch.setitem(sys.modules, missing, None)
    if missing == "sqlglot":
        monkeypatch.setitem(sys.modules, "pyspark", sys)
    store, db = tmp_path / "store", tmp_path / "db.duckdb"
    call = ["run", str(exports(small_fleet)), "--no-site", "--store", str(store), "--db", str(db), "--engine", "spark"]
    assert cli.main(call) == 2
    told = capsys.readouterr().err
    assert f"needs {missing}" in told and "pip install 'firekpi[spark]'" in told and "[no-spark]" in told
    assert not store.exists() and not db.exists()


@pytest.mark.parametrize("home", [None, "nowhere"])
def test_without_java_it_says_so(tmp_path, monkeypatch, home):
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.delenv("JAVA_HOME", raising=False)
    if home:
        monkeypatch.setenv("JAVA_HOME", str(tmp_path / home))
    with pytest.raises(UserError) as told:
        session.need_java()
    assert told.value.slug == "no-java" and "JAVA_HOME" in str(told.value)


def test_java_is_found_where_java_home_says(tmp_path, monkeypatch):
    java = tmp_path / "jdk" / "bin" / "java"
    java.parent.mkdir(parents=True)
    java.write_text("#!/bin/sh\n")
    java.chmod(0o755)
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.setenv("JAVA_HOME", str(tmp_path / "jdk"))
    session.need_java()


def free_port() -> int:
    """A port at which nobody listens."""
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return found.getsockname()[1]


def test_a_master_at_which_nobody_listens():
    port = free_port()
    with pytest.raises(UserError) as told:
        session.reach(f"spark://127.0.0.1:{port}")
    assert (
        told.value.slug == "spark-unreachable" and f"spark://127.0.0.1:{port}" in str(told.value) and "refused" in str(told.value)
    )


def test_one_of_several_masters_is_enough():
    with socket.socket() as master:
        master.bind(("127.0.0.1", 0))
        master.listen()
        session.reach(f"spark://127.0.0.1:{free_port()},127.0.0.1:{master.getsockname()[1]}")


@pytest.mark.parametrize("master", ["local[*]", "yarn"])
def test_other_masters_are_left_to_spark(master):
    session.reach(master)


def test_an_unknown_engine_is_one_sentence(capsys):
    with pytest.raises(SystemExit) as left:
        cli.main(["run", "exports", "--engine", "abacus"])
    assert left.value.code == 2 and "choose from" in capsys.readouterr().err


@pytest.mark.parametrize("query", ["select list(a order by a) as x from days", "select datediff('day', a, a) as x from days"])
def test_what_can_not_be_told_in_spark_s_sql_is_one_sentence(tmp_path, query):
    """Whoever adds such a statement hears of it, and no table is made by another way in silence."""
    from pipeline.spark.engine import SparkEngine

    with duckdb.connect() as con:
        con.execute("create table days as select date '2026-01-01' as a")
        with pytest.raises(UserError) as told:
            SparkEngine(MagicMock(), tmp_path).run(con, f"create table made as {query}")
        assert con.execute("select count(*) from duckdb_tables() where table_name = 'made'").fetchall() == [(0,)]
    assert told.value.slug == "spark-failed" and "made" in str(told.value) and "without --engine spark" in str(told.value)
