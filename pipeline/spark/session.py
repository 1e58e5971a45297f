"""A session on Spark. In: the address of its master. Out: the session, or one sentence that says what is missing."""

from __future__ import annotations

import logging
import os
import re
import shutil
import socket
import sys
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from pipeline.errors import UserError

# As DuckDB counts: no time zone of the host, errors instead of nulls, and no end to a plan that goes on for a thousand months.
SETTINGS = {
    "spark.sql.session.timeZone": "UTC",
    "spark.sql.ansi.enabled": "true",
    "spark.sql.cteRecursionLevelLimit": "100000",
    "spark.sql.cteRecursionRowLimit": "-1",
    # Spark 4.3.0 stops at figure.on_time_monthly otherwise: the rule makes a plan of it that Spark itself finds invalid.
    "spark.sql.optimizer.excludedRules": "org.apache.spark.sql.catalyst.optimizer.RemoveRedundantAliases",
    "spark.ui.enabled": "false",
    "spark.ui.showConsoleProgress": "false",
    "spark.log.level": "OFF",
}
WAIT_SECONDS = 5


@contextmanager
def open_session(master: str, folder: Path) -> Iterator:
    """Yield a SparkSession, stopped at the end; `folder` takes what Spark leaves. Raises UserError no-java, spark-unreachable."""
    session = _start(master, folder)
    try:
        yield session
    finally:
        session.stop()


def need_pyspark() -> None:
    """Raises UserError no-spark."""
    for name in ("pyspark", "sqlglot"):
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # pyspark warns about every newer pandas; none of ours reaches it
                __import__(name)
        except ImportError as error:
            raise UserError("no-spark", missing=name) from error


def need_java() -> None:
    """Raises UserError no-java."""
    home = os.environ.get("JAVA_HOME")
    if not (shutil.which(str(Path(home) / "bin" / "java")) if home else shutil.which("java")):
        raise UserError("no-java")


def reach(master: str) -> None:
    """Try the address of a cluster of Spark's own kind: Spark itself would try for a minute and then show a traceback.

    Raises UserError spark-unreachable.
    """
    if not master.startswith("spark://"):
        return
    why = "no address"
    for host, port in re.findall(r"([^,:/]+):(\d+)", master.removeprefix("spark://")):
        try:
            socket.create_connection((host, int(port)), timeout=WAIT_SECONDS).close()
            return
        except OSError as error:
            why = error.strerror or str(error)
    raise UserError("spark-unreachable", master=master, why=why)


def _start(master: str, folder: Path):
    from pyspark.sql import SparkSession

    os.environ.setdefault("PYSPARK_PYTHON", sys.executable)
    # Spark writes each wrong query to the console before it raises it
    logging.getLogger("SQLQueryContextLogger").disabled = True
    builder = SparkSession.builder.master(master).appName("firekpi").config("spark.sql.warehouse.dir", str(folder / "warehouse"))
    settings = dict(SETTINGS)
    if master.startswith("local"):
        # more parts than cores only cost: most tables are small
        settings |= {
            "spark.sql.shuffle.partitions": str(os.cpu_count() or 2),
            "spark.driver.host": "127.0.0.1",
            "spark.driver.bindAddress": "127.0.0.1",
        }
    for name, value in settings.items():
        builder = builder.config(name, value)
    try:
        with _output_to(folder / "spark.log"):
            session = builder.getOrCreate()
        session.sparkContext.setLogLevel("OFF")
    except Exception as error:  # py4j, Java and pyspark each have their own
        if "JAVA_GATEWAY_EXITED" in str(error):
            raise UserError("no-java") from error
        raise UserError("spark-unreachable", master=master, why=say_first(error)) from error
    return session


@contextmanager
def _output_to(log: Path) -> Iterator[None]:
    """Let what is started here write to a file: Java says half a dozen lines that are nobody's concern, and keeps what it was given."""
    kept = [os.dup(stream) for stream in (1, 2)]
    with log.open("ab") as file:
        for stream in (1, 2):
            os.dup2(file.fileno(), stream)
    try:
        yield
    finally:
        for stream, old in zip((1, 2), kept, strict=True):
            os.dup2(old, stream)
            os.close(old)


def say_first(error: Exception) -> str:
    """The first line that says something, of an error of Java's."""
    lines = [line.strip() for line in str(error).splitlines() if line.strip()]
    told = [line for line in lines if not line.startswith(("An error occurred while calling", "at "))]
    return (told or lines or [type(error).__name__])[0].removeprefix(": ")
