"""All figures by Spark beside all figures by DuckDB: on the sample exports and on ten simulated vessels, row by row."""

from __future__ import annotations

import re
from datetime import date
from importlib.resources import files
from types import SimpleNamespace

import pytest

from pipeline.figures.build import FIGURES
from pipeline.run import RunOptions, run
from tests.golden.conftest import SAMPLES
from tests.simulator.write_canonical import write_canonical
from tests.spark.compare import compare_databases, list_tables

pytestmark = pytest.mark.spark

# Made by Python, which asks SQL for what it counts; figure.price is the company's own.
BY_PYTHON = {
    "back_test", "back_test_condemned", "back_test_group", "corrosion_model", "corrosion_onset", "defect_change", "defect_closing",
    "defect_pareto", "defect_vessel", "on_time_chart", "on_time_year", "overdue_duration", "pit_depth", "price", "service_failure",
    "wall_loss", "watch_list", "watch_model", "watch_reason", "watch_weight",
}  # fmt: skip
# The rule book, as read from its files.
RULE_BOOK = {"binding", "ground", "limit", "number", "placement", "provision", "replaced", "rule", "satisfied_by", "triggered_by"}


def write_vessels(folder):
    write_canonical(folder, vessels=10, years=4, units=20, seed=20261128)
    return folder


@pytest.fixture(scope="module", params=["sample", "ten vessels"])
def both(request, tmp_path_factory):
    """One store, one day, two engines: their databases, and who made each table on Spark's side."""
    from pipeline.spark import engine as spark

    place = tmp_path_factory.mktemp("both")
    folder, as_of = (
        (SAMPLES, date(2026, 10, 31)) if request.param == "sample" else (write_vessels(place / "fleet"), date(2026, 10, 31))
    )
    engines = []

    class Kept(spark.SparkEngine):
        def __init__(self, *given):
            super().__init__(*given)
            engines.append(self)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(spark, "SparkEngine", Kept)
        for engine in ("duckdb", "spark"):
            run(RunOptions((folder,), place / "store", place / f"{engine}.duckdb", as_of, engine=engine, master="local[2]"))
    return SimpleNamespace(duckdb=place / "duckdb.duckdb", spark=place / "spark.duckdb", ran_on=engines[0].ran_on, place=place)


def test_every_row_of_every_table_is_equal(both):
    compared, told = compare_databases(both.duckdb, both.spark)
    assert told == []
    assert compared == list_tables(both.duckdb) == list_tables(both.spark) and len(compared) > 70


def test_spark_made_every_table_that_sql_makes(both):
    made = {name for name, engine in both.ran_on.items() if engine == "spark"}
    asked = set()
    for room, names in (("duties", ("stays", "in_force", "events", "called_for", "spans")), ("figures", FIGURES)):
        for name in names:
            text = files(f"pipeline.{room}").joinpath(f"{name}.sql").read_text(encoding="utf-8")
            asked |= set(re.findall(r"^create (?:or replace )?(?:temp )?table ([\w.]+) as\b", text, re.MULTILINE))
    assert made - {"doubt"} == asked
    left = {name for name in list_tables(both.spark) if name not in made}
    assert left == {f"figure.{name}" for name in BY_PYTHON} | {f"duty.{name}" for name in RULE_BOOK}


def test_nothing_of_spark_is_left(both):
    assert sorted(path.name for path in both.place.iterdir() if path.name not in ("fleet", "store")) == [
        "duckdb.duckdb",
        "spark.duckdb",
    ]
