"""What a run gave, in a few numbers. In: the finished database. Out: a `Summary`."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import duckdb

from pipeline.contract import tables


@dataclass(frozen=True)
class Summary:
    """Counts of one run; `records_open` hold the quarantined rows that no later file answers, `reasons` say why; `vessels` carry `units` in service, `overdue` of them on any duty, on `as_of`; `absent` the tables no file gives."""

    as_of: date
    files: int
    rows_read: int
    rows_loaded: int
    rows_quarantined: int
    rows_duplicate: int
    records_open: int
    cells_corrected: int
    records_set_aside: int
    files_withdrawn: int
    flags: int
    vessels: int
    units: int
    overdue: int
    absent: tuple[str, ...]
    reasons: tuple[tuple[str, int], ...]
    notes: tuple[str, ...]


def read_summary(con: duckdb.DuckDBPyConnection, notes: tuple[str, ...] = ()) -> Summary:
    """Read the numbers that the command line prints; `notes` are added as they are."""
    as_of = con.execute("select as_of from intake.run").fetchone()[0]
    totals = con.execute(
        "select count(*), coalesce(sum(rows_read), 0), coalesce(sum(rows_loaded), 0), coalesce(sum(rows_quarantined), 0), "
        "coalesce(sum(rows_duplicate), 0) from intake.file"
    ).fetchone()
    is_open = "from intake.quarantine where superseded_by is null"
    records_open = con.execute(f"select count(*) from (select distinct file_id, record_no {is_open})").fetchone()[0]
    declared = con.execute(
        "select count(*) filter (column_name <> '(record)'), count(*) filter (column_name = '(record)'), "
        "(select count(*) from intake.withdrawn) from intake.correction"
    ).fetchone()
    units, overdue = con.execute(
        "select coalesce(max(units), 0), coalesce(max(overdue), 0) from figure.overdue_monthly "
        "where imo_number = '*' and duty = '*' and month_end = $as_of",
        {"as_of": as_of},
    ).fetchone()
    flags, vessels = con.execute(
        "select (select count(*) from intake.flag), (select count(distinct imo_number) from figure.unit_now where counted = 'in service')"
    ).fetchone()
    given = {name for (name,) in con.execute("select distinct table_name from intake.file_table").fetchall()}
    reasons = con.execute(f"select rule, count(*) as reasons {is_open} group by rule order by reasons desc, rule").fetchall()
    absent = tuple(name for name in tables() if name not in given)
    return Summary(
        as_of,
        *map(int, (*totals, records_open, *declared, flags, vessels, units, overdue)),
        absent,
        tuple(reasons),
        notes,
    )
