"""A fleet's subjects in slices, so that what a statement sorts and holds is a slice and not the fleet. In: duty.subject. Out: slices."""

from __future__ import annotations

import duckdb

from pipeline.statements import Slice

ROWS_AT_ONCE = 1_000_000  # a window over so many takes some 300 MB


def slice_subjects(con: duckdb.DuckDBPyConnection, table: str) -> list[Slice]:
    """The numbers of subjects in slices of whole vessels with some ROWS_AT_ONCE rows of a table each; one slice at least."""
    rows = con.execute(
        f"""
        with vessel as (
            select subject.imo_number, max(subject_no) as last, count(counted.subject_no) as rows
            from duty.subject as subject left join {table} as counted using (subject_no) group by subject.imo_number
        ),
        numbered as (select last, sum(rows) over (order by imo_number) // $at_once as slice_no from vessel)
        select max(last) from numbered group by slice_no order by slice_no""",
        {"at_once": ROWS_AT_ONCE},
    ).fetchall()
    ends = [last for (last,) in rows] or [0]
    return [{"first": before + 1, "last": last} for before, last in zip([0, *ends], ends, strict=False)]
