"""Who runs the SQL of duties and figures. In: the name of an engine, the address of its master. Out: `Statements` to run it with."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from pipeline.statements import DUCKDB, Statements


def check_engine(engine: str, master: str) -> None:
    """Before anything is read: is there what the engine needs? Raises UserError no-spark, no-java, spark-unreachable."""
    if engine == "spark":
        from pipeline.spark.session import need_java, need_pyspark, reach

        need_pyspark()
        need_java()
        reach(master)


@contextmanager
def open_engine(engine: str, master: str, folder: Path) -> Iterator[Statements]:
    """Yield it. `folder` is made for Spark's tables, which all its machines must see there, and removed at the end."""
    if engine == "duckdb":
        yield DUCKDB
        return
    # late: pyspark is an extra, and takes a second
    from pipeline.spark.engine import SparkEngine
    from pipeline.spark.session import open_session

    folder.mkdir(parents=True)
    try:
        with open_session(master, folder) as session:
            yield SparkEngine(session, folder)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
