"""What figures compute apart: written in order, errors told, and read by no figure before it stands."""

from __future__ import annotations

import re
import time
from importlib import import_module, resources
from threading import Event
from typing import get_type_hints

import duckdb
import pytest

from pipeline.figures.apart import Apart, Compute, Write, write_each
from pipeline.figures.build import FIGURES
from pipeline.statements import read_sql

FOLDER = resources.files("pipeline.figures")
READS = r"\b(?:from|join|update)\s+figure\.{}\b"


def list_apart() -> list[str]:
    """The figures whose `fill` returns a computation."""
    modules = [name for name in FIGURES if FOLDER.joinpath(f"{name}.py").is_file()]
    returned = {name: str(get_type_hints(import_module(f"pipeline.figures.{name}").fill)["return"]) for name in modules}
    return [name for name, kind in returned.items() if str(Compute) in kind]


def test_some_figures_are_computed_apart():
    assert {"corrosion_onset", "overdue_duration", "on_time"} <= set(list_apart())


def test_a_reader_would_be_found():
    assert re.search(READS.format("back_test_group"), read_sql("pipeline.figures", "watch_cost"))


@pytest.mark.parametrize("name", list_apart())
def test_nothing_else_of_the_figures_reads_what_is_written_at_the_end(name):
    made = re.findall(r"^create table figure\.(\w+)", read_sql("pipeline.figures", name), re.MULTILINE)
    assert made
    own = {f"{name}.sql", f"{name}.py"}
    others = [file for file in FOLDER.iterdir() if file.name.endswith((".sql", ".py")) and file.name not in own]
    assert len(others) > 50
    written = [table for table in made if f"figure.{table}" in FOLDER.joinpath(f"{name}.py").read_text(encoding="utf-8")]
    assert written
    for table in written:
        readers = [file.name for file in others if re.search(READS.format(table), file.read_text(encoding="utf-8"))]
        assert readers == []


def test_each_is_written_in_the_order_it_was_begun_while_others_go_on():
    con = duckdb.connect()
    con.execute("create table told (word varchar)")
    words, go_on = [], Event()

    def compute(word: str) -> Write:
        assert go_on.wait(10)
        words.append(f"{word} computed")
        return lambda con: con.execute("insert into told values (?)", [word])

    with Apart() as apart:
        apart.begin(lambda: compute("first"))
        apart.begin(lambda: compute("second"))
        words.append("meanwhile")
        go_on.set()
        assert con.execute("select count(*) from told").fetchall() == [(0,)]
        apart.finish(con)
    assert words == ["meanwhile", "first computed", "second computed"]
    assert con.execute("select word from told").fetchall() == [("first",), ("second",)]


def test_what_fails_apart_is_raised_where_it_is_waited_for():
    def fail() -> Write:
        raise ZeroDivisionError("no units")

    with Apart() as apart:
        apart.begin(fail)
        with pytest.raises(ZeroDivisionError, match="no units"):
            apart.finish(duckdb.connect())


def test_what_was_not_begun_yet_is_dropped_when_the_run_stops():
    done, begun, both = [], Event(), Event()

    def compute_first() -> Write:
        begun.set()
        assert both.wait(10)
        # the first goes on until the second is taken back, which a stopping run does before it waits for the first
        give_up = time.monotonic() + 10
        while not apart._begun[1].cancelled() and time.monotonic() < give_up:
            time.sleep(0.001)
        done.append("first")
        return write_each()

    def compute_second() -> Write:
        done.append("second")
        return write_each()

    with pytest.raises(KeyboardInterrupt), Apart() as apart:
        apart.begin(compute_first)
        apart.begin(compute_second)
        assert begun.wait(10)
        both.set()
        raise KeyboardInterrupt
    assert done == ["first"]
