"""Two databases, table by table and row by row. In: their files. Out: what differs, in words.

Rows have no order of their own, so they are paired after sorting by all that is no double, then by doubles to six digits. Doubles may
differ by TOLERANCE of the larger, or by LEAST where both are next to nothing; all else has to be equal.
"""

from __future__ import annotations

import math
from pathlib import Path

import duckdb

SCHEMAS = ("duty", "figure")
TOLERANCE = 1e-9
LEAST = 1e-12


def list_tables(db: Path) -> list[str]:
    """Every table of the two schemas."""
    with duckdb.connect(str(db), read_only=True) as con:
        return [
            name for (name,) in con.execute(
                "select schema_name || '.' || table_name from duckdb_tables() where list_contains($schemas, schema_name) order by all",
                {"schemas": list(SCHEMAS)},
            ).fetchall()
        ]  # fmt: skip


def compare_databases(one: Path, other: Path) -> tuple[list[str], list[str]]:
    """The tables compared, and a line for each that differs; a table that only one of them has is a difference."""
    names, others = list_tables(one), list_tables(other)
    told = [f"{name}: only in one database" for name in sorted(set(names) ^ set(others))]
    compared = [name for name in names if name in others]
    with duckdb.connect(str(one), read_only=True) as left, duckdb.connect(str(other), read_only=True) as right:
        for name in compared:
            told += _compare_table(name, left, right)
    return compared, told


def _compare_table(name: str, left: duckdb.DuckDBPyConnection, right: duckdb.DuckDBPyConnection) -> list[str]:
    kinds, others = (
        con.execute(f"select column_name, column_type from (describe {_quote(name)})").fetchall() for con in (left, right)
    )
    if kinds != others:
        return [f"{name}: columns {kinds} and {others}"]
    doubles = [place for place, (_, kind) in enumerate(kinds) if kind == "DOUBLE"]
    mine, theirs = (_sorted_rows(con.execute(f"from {_quote(name)}").fetchall(), doubles) for con in (left, right))
    if len(mine) != len(theirs):
        return [f"{name}: {len(mine)} and {len(theirs)} rows"]
    wrong = [(a, b) for a, b in zip(mine, theirs, strict=True) if not _is_same(a, b, doubles)]
    return [f"{name}: {len(wrong)} of {len(mine)} rows, first {wrong[0][0]} and {wrong[0][1]}"] if wrong else []


def _sorted_rows(rows: list[tuple], doubles: list[int]) -> list[tuple]:
    def key(row: tuple) -> tuple:
        exact = tuple(repr(value) for place, value in enumerate(row) if place not in doubles)
        return exact, tuple("" if row[place] is None else f"{row[place]:.6e}" for place in doubles)

    return sorted(rows, key=key)


def _is_same(a: tuple, b: tuple, doubles: list[int]) -> bool:
    return all(
        _is_near(x, y) if place in doubles and x is not None and y is not None else x == y
        for place, (x, y) in enumerate(zip(a, b, strict=True))
    )


def _is_near(x: float, y: float) -> bool:
    return math.isclose(x, y, rel_tol=TOLERANCE, abs_tol=LEAST)


def _quote(name: str) -> str:
    return ".".join(f'"{part}"' for part in name.split("."))
