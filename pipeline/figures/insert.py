"""Many rows into a table at once. In: a connection, a table, rows. Out: the table holds them."""

from __future__ import annotations

from collections.abc import Sequence

import duckdb


def insert_rows(con: duckdb.DuckDBPyConnection, table: str, rows: Sequence[Sequence[object]]) -> None:
    """Append rows in the table's own order of columns; one statement, since one a row takes a third of a millisecond each."""
    if not rows:
        return
    types = [row[1] for row in con.execute(f"describe {table}").fetchall()]
    columns = ", ".join(f"unnest($c{place}::{kind}[])" for place, kind in enumerate(types))
    con.execute(f"insert into {table} select {columns}", {f"c{n}": [row[n] for row in rows] for n in range(len(types))})
