"""The watch list, its reasons and weights as tables. In: rows of figure.watch_list, watch_reason, watch_weight. Out: tables."""

from __future__ import annotations

from dashboards import words
from dashboards.blocks import Context, Table, name_columns
from dashboards.pages.watch_words import Row

SHOWN, SHOWN_REASONS = 40, 120
NO_REASON = {
    "chances": "no sign that weighs 1.2 times the odds or more",
    "bands": "no sign that weighs 1.2 times the odds or more",
    "rule": "no sign of half a point or more",
}
KINDS = {"hard": "hard reason", "no record": "no record"}


def say_standing(row: Row) -> str:
    """'hard reason', '14 % (9 to 21)', 'first 5 %: 4 of 13 before', '3.6 points'."""
    if row.hard_reason is not None:
        return "hard reason"
    if row.chance_12_months is not None:
        value, low, high = (words.say_number(100 * v, 1) for v in (row.chance_12_months, row.low, row.high))
        return f"{value}{words.THIN}% ({low} to {high})"
    if row.kind == "bands":
        past = f", {words.say_number(row.like_condemned)} of {words.say_number(row.like_units)} before" if row.like_units else ""
        return f"{row.band}{past}"
    return f"{words.say_number(row.points, 1)} points"


def list_units(rows: list[Row], context: Context) -> Table:
    """The list, the first ones on the page and all in the CSV."""
    columns = name_columns(
        "list_rank=Rank:count; unit=Unit:unit; reasons=Why:long; standing=Standing:page_text; vessel=Vessel:link; "
        "would_change=What would move it:long; age_years=Age, years:number; test_due_on=Next pressure test:date; unit_id=Unit:text twin; "
        "imo_number=IMO number:code twin; counted=Counted:text twin; hard_reason=Hard reason:text twin; band=Band:text twin; "
        "chance_pct=:percent_interval twin; points=Points:number twin; like_condemned=Condemned of units like it:count twin; "
        "like_units=Units like it:count twin"
    )
    cells = tuple(
        (
            r.list_rank, context.link_unit(r.unit_id, r.unit_id if r.counted == "in service" else f"{r.unit_id}, {r.counted}"), words.say_capital(r.reasons) if r.reasons else NO_REASON[r.kind],
            say_standing(r), context.link_vessel(r.imo_number), r.would_change, r.age_years, r.test_due_on, r.unit_id,
            r.imo_number, r.counted, r.hard_reason or "", r.band or "",
            (None, None, None) if r.chance_12_months is None else tuple(100 * v for v in (r.chance_12_months, r.low, r.high)),
            r.points, r.like_condemned, r.like_units,
        )
        for r in rows
    )  # fmt: skip
    return Table(
        "units", "Units in the order in which to look at them", columns, cells, shown=SHOWN,
        empty="No unit is in service on this date.",
    )  # fmt: skip


def say_weight(weight: float | None, kind: str) -> str:
    """'2.1 times the odds', '2.0 points', 'hard reason'."""
    if weight is None:
        return KINDS[kind]
    if kind == "odds":
        return f"{words.say_number(weight, 1 if weight >= 1 else 2)} times the odds"
    return f"{words.say_number(weight, 1)} points"


def list_reasons(rows: list[Row], context: Context) -> Table:
    """Each reason with each of its records."""
    columns = name_columns(
        "list_rank=Rank:count; unit_id=Unit:unit; vessel=Vessel:link; reason=Reason:long; weight_said=Weight:page_text; record=Record; "
        "seen_on=Of:date; path=File and line:file_line; imo_number=IMO number:code twin; trait=Sign or rule:text twin; "
        "kind=Kind:text twin; weight=Weight:number twin; record_no=Record number:count twin"
    )
    cells = tuple(
        (r.list_rank, context.link_unit(r.unit_id), context.link_vessel(r.imo_number), words.say_capital(r.reason), say_weight(r.weight, r.kind), r.table_name, r.seen_on,
         (r.path, r.line_no), r.imo_number, r.trait, r.kind, r.weight, r.record_no)
        for r in rows
    )  # fmt: skip
    return Table(
        "reasons", "Reasons and the records they rest on", columns, cells, shown=SHOWN_REASONS, is_folded=True,
        empty="No unit has a reason to tell of.",
    )  # fmt: skip


def list_weights(rows: list[Row]) -> Table:
    """What weighs in the model."""
    columns = name_columns(
        "step=With; said=Times the odds (95 % interval):page_number; trait=Trait:text twin; odds=:number twin; low=:number twin; high=:number twin"
    )
    cells = tuple(
        (words.say_capital(r.step), f"{words.say_number(r.odds, 2)} ({words.say_number(r.low, 2)} to {words.say_number(r.high, 2)})",
         r.trait, r.odds, r.low, r.high)
        for r in rows
    )  # fmt: skip
    return Table(
        "weights", "By how much the odds of condemnation change, all else alike and drawn towards none (ridge)", columns, cells,
        empty="No model is in use, so nothing has a weight beside the points of the four signs.",
    )  # fmt: skip
