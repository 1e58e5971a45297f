"""The tables of the Defects page.

In: rows of figure.defect_rate. Out: closing and repeats by kind, and the fleet by period.
"""

from __future__ import annotations

from dashboards import words
from dashboards.blocks import Context, Table, name_columns
from dashboards.pages.defect_rates import (
    DIMENSIONS,
    EMPTY,
    PERIOD,
    Row,
    count_found,
    name_kind,
    pick_rows,
    read_rate,
)


def list_kinds(rows: list[Row], context: Context) -> Table:
    """Closing and repeats, by kind of defect."""
    columns = name_columns(
        "kind=Component and defect; findings=Found:count; reports=Times reported:count; closed=Closed:count; still_open=Still open:count; "
        "seen_before=Found on that unit before:part"
    )
    cells = tuple(
        (
            name_kind(r),
            count_found(r, context),
            r.reports,
            r.closed,
            r.findings - r.closed,
            (None if r.repeat_share is None else words.round_whole(r.repeat_share * r.findings), r.findings),
        )
        for r in pick_rows(rows, "component", "defect")
    )
    return Table("closing", f"Closing and repeats by kind, {PERIOD}", columns, cells, empty=EMPTY, shown=40)


def list_periods(rows: list[Row], context: Context) -> Table:
    """The fleet's rate in each period."""
    mine = [r for r in rows if all(getattr(r, d) == "*" for d in DIMENSIONS)]
    mine.sort(key=lambda r: (not r.period.isdigit(), r.period))
    columns = name_columns(
        "period=Period; findings=Found:count; unit_years=Unit-years:number; "
        "per_100_unit_years=Per 100 unit-years (95 % interval):interval; inspections=Looks at a unit:count; "
        "per_100_inspections=Per 100 looks:number"
    )
    return Table(
        "periods",
        "All defects, whole fleet, by calendar year and over all",
        columns,
        tuple(
            (
                r.period,
                count_found(r, context),
                words.round_to(float(r.unit_years), 1),
                read_rate(r),
                r.inspections,
                r.per_100_inspections if r.is_rated else None,
            )
            for r in mine
        ),
        empty=EMPTY,
    )
