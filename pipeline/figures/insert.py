"""Many rows into a table at once. In: a connection, a table, rows. Out: the table holds them."""

from __future__ import annotations

from collections.abc import Sequence

import duckdb
import numpy as np


def insert_rows(con: duckdb.DuckDBPyConnection, table: str, rows: Sequence[Sequence[object]]) -> None:
    """Append rows in the table's own order of columns; one statement, since one a row takes a third of a millisecond each."""
    if not rows:
        return
    types = [row[1] for row in con.execute(f"describe {table}").fetchall()]
    columns = ", ".join(f"unnest($c{place}::{kind}[])" for place, kind in enumerate(types))
    con.execute(f"insert into {table} select {columns}", {f"c{n}": [row[n] for row in rows] for n in range(len(types))})


def insert_many(con: duckdb.DuckDBPyConnection, table: str, rows: Sequence[Sequence[object]]) -> None:
    """As insert_rows, by insert_columns: for tables without lists that have a row a unit or a vessel."""
    if not rows:
        return
    kinds = [float if row[1] == "DOUBLE" else object for row in con.execute(f"describe {table}").fetchall()]
    insert_columns(con, table, [np.array(values, kind) for values, kind in zip(zip(*rows, strict=True), kinds, strict=True)])


def insert_columns(con: duckdb.DuckDBPyConnection, table: str, columns: Sequence[np.ndarray]) -> None:
    """Append columns (n,) in the table's own order: three times as fast as insert_rows where there are ten thousands of rows.

    Null is NaN, NaT or, among objects, None.
    """
    # days are read as such only with a finer unit of time
    plain = [values.astype("datetime64[us]") if values.dtype.kind == "M" else values for values in columns]
    con.register("given_column", {f"c{place}": np.ascontiguousarray(values) for place, values in enumerate(plain)})
    con.execute(f"insert into {table} from given_column")
    con.unregister("given_column")
