"""The data of the unit pages: one query a kind for a run of units, each read through once beside the others.

In: record.*, history.*, intake.quarantine, flag, correction, figure.unit_now, duty_now, verdict, placement_now, watch_list, watch_reason,
count_interval. Out: `read_units`, one `UnitData` after another in the order of the units' numbers. Never holds more than one unit.
"""

from __future__ import annotations

from collections import namedtuple
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import duckdb

from dashboards.blocks import Context
from dashboards.pages import unit_queries
from dashboards.pages.unit_quarantine import read_named

Row = Any
BATCH = 5_000


@dataclass(frozen=True)
class UnitData:
    """Everything on record of one unit, each list in its own order."""

    unit_id: str
    stays: list[Row]
    standing: list[Row]
    verdicts: list[Row]
    watch: list[Row]
    duties: list[Row]
    late: list[Row]
    records: list[Row]
    remarks: list[Row]
    refused: list[Row]


class Stream:
    """Rows that come ordered by unit, taken unit by unit."""

    def __init__(self, rows: Iterator[Row]) -> None:
        self.rows = rows
        self.next = next(rows, None)

    def take(self, unit_id: str) -> list[Row]:
        """The rows of this unit; those of units before it, which have no page, are passed over."""
        found = []
        while self.next is not None and self.next.unit_id <= unit_id:
            if self.next.unit_id == unit_id:
                found.append(self.next)
            self.next = next(self.rows, None)
        return found


def read_rows(con: duckdb.DuckDBPyConnection, sql: str, values: dict[str, object]) -> Iterator[Row]:
    """One query as named tuples, a batch at a time, beside other queries that are still open; of the values it takes those it names."""
    cursor = con.cursor()
    cursor.execute(sql, {name: value for name, value in values.items() if f"${name}" in sql})
    row_type: Any = namedtuple("Row", [column[0] for column in cursor.description])  # type: ignore[misc]
    while batch := cursor.fetchmany(BATCH):
        yield from map(row_type._make, batch)


def read_units(con: duckdb.DuckDBPyConnection, context: Context, part: Sequence[str]) -> Iterator[UnitData]:
    """These units, which are neighbours in the order of their numbers."""
    values = {"day": context.as_of, "first": part[0], "last": part[-1]}
    streams = [Stream(read_rows(con, sql, values)) for sql in unit_queries.BY_UNIT]
    refused = read_named(con)
    for unit_id in part:
        yield UnitData(unit_id, *(stream.take(unit_id) for stream in streams), refused.get(unit_id, []))
