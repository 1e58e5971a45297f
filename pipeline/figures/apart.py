"""What figures compute beside the SQL of those that follow. In: what their `fill` returned. Out: their tables, filled at the end.

Python works on one processor and DuckDB on all: one after the other, all but one would stand still for a fifth of a run.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor

import duckdb

Write = Callable[[duckdb.DuckDBPyConnection], None]
Insert = Callable[[duckdb.DuckDBPyConnection, str, Sequence], None]  # as those of insert.py
Compute = Callable[[], Write]  # touches no database: all it needs was read before; no later figure reads what it is for


def write_each(*parts: tuple[Insert, str, Sequence]) -> Write:
    """What puts rows into tables, one after another: (how, table, rows)."""

    def write(con: duckdb.DuckDBPyConnection) -> None:
        for insert, table, rows in parts:
            insert(con, table, rows)

    return write


class Apart:
    """Computes one thing after another in a thread of its own; what comes of them is written in that order."""

    def __init__(self) -> None:
        self._worker = ThreadPoolExecutor(1, thread_name_prefix="figures")
        self._begun: list[Future[Write]] = []

    def __enter__(self) -> Apart:
        return self

    def __exit__(self, *_: object) -> None:
        self._worker.shutdown(cancel_futures=True)

    def begin(self, compute: Compute) -> None:
        """Take it on; it may begin at once."""
        self._begun.append(self._worker.submit(compute))

    def finish(self, con: duckdb.DuckDBPyConnection) -> None:
        """Wait for each and write it. Raises what a computation raised."""
        for computed in self._begun:
            computed.result()(con)
        self._begun.clear()
