"""Pits: the deepest of each unit. In: figure.pit_depth, pit_reading. Out: tables."""

from __future__ import annotations

from dashboards import words
from dashboards.blocks import Context, Table, name_columns
from dashboards.pages.corrosion_metal import SHOWN, Row, say_mm
from dashboards.pages.unit_names import name_safely

PITS_SQL = "SELECT * FROM figure.pit_depth ORDER BY shell_material <> '*', units DESC, shell_material"
READINGS_SQL = "SELECT * FROM figure.pit_reading WHERE is_aboard ORDER BY pit_depth_mm DESC, unit_id"


def list_pits(rows: list[Row], context: Context) -> Table:
    """The deepest pit of each unit as extremes, from twenty units on."""
    columns = name_columns(
        "shell_material=Shell; units=Units with a pit:count; median=Half deeper than, mm:page_number; deepest=Deepest, mm:page_number; "
        "level=Of units with a pit, one in 100 is deeper than, mm (no limits):page_number; form=The fit:page_text; median_um=:count twin; deepest_um=:count twin; "
        "one_in_100_um=:count twin; place_um=:number twin; spread_um=:number twin; form_value=:number twin; form_p=:number twin; why_not=:text twin"
    )
    cells = tuple(
        (
            words.say_slug(r.shell_material), context.count(r.units, f"pits-{name_safely(r.shell_material)}"), say_mm(r.median_mm), say_mm(r.deepest_mm), say_mm(r.one_in_100_mm), say_form(r),
            *(None if v is None else words.round_whole(1000 * v) for v in (r.median_mm, r.deepest_mm, r.one_in_100_mm)),
            *(None if v is None else 1000 * v for v in (r.place_mm, r.spread_mm)), r.form, r.form_p, r.why_not or "",
        )
        for r in rows
    )  # fmt: skip
    return Table(
        "pits", "The deepest pit ever measured on each unit, by shell", columns, cells, empty="No pit has been measured yet."
    )


def say_form(row: Row) -> str:
    """Whether the readings ask for another tail than Gumbel's, or why there is no fit."""
    if row.form_p is None:
        return row.why_not or words.NONE
    return (
        ("heavier than Gumbel’s" if row.form > 0 else "lighter than Gumbel’s")
        if row.form_p < 0.05
        else "Gumbel; no evidence of another"
    )


def list_readings(rows: list[Row], context: Context) -> Table:
    """The pits themselves, deepest first."""
    columns = name_columns(
        "unit_id=Unit:unit; imo_number=:text twin; vessel=Vessel:link; shell_material=Shell; depth=Deepest pit, mm:page_number; depth_um=:count twin; found_on=Measured:date"
    )
    cells = tuple(
        (
            context.link_unit(r.unit_id),
            r.imo_number,
            context.link_vessel(r.imo_number),
            r.shell_material,
            say_mm(r.pit_depth_mm),
            words.round_whole(1000 * r.pit_depth_mm),
            r.found_on,
        )
        for r in rows
    )
    return Table(
        "pit-readings",
        "Deepest pit of each unit aboard",
        columns,
        cells,
        shown=SHOWN,
        empty="No unit aboard has a measured pit.",
        is_folded=True,
    )
