"""The tables of a unit's page.

In: `UnitData`. Out: tables without CSV twins: the lists that lead here have theirs, and a site may hold 60,000 such pages.
"""

from __future__ import annotations

from functools import cache

from dashboards import words
from dashboards.blocks import Context, Link, Note, Table, name_columns
from dashboards.pages import due_items, verdict_rows, verdict_words, watch_tables
from dashboards.pages.unit_data import Row, UnitData
from dashboards.rule_book import Rule

AGAINST = name_columns(
    "verdict=Verdict:state; reason=Reason:long; value=Value:page_number; limit=Limit:page_number; rule=Rule:link; seen_on=Seen on:date; "
    "path=File and line:file_line; record_no=Record:code"
)
DUTIES = name_columns(
    "duty=Duty; state=State:state; due_on=Due:date; counted_from=Counted from:page_text; rule=Rule:link; path=File and line:file_line; "
    "record_no=Record:code"
)
STAYS = name_columns(
    "vessel=Vessel:link; from_on=From:date; to_on=Until:date; why=Left because; place=Position, space:long; counted=Counted:text; "
    "path=File and line:file_line; record_no=Record:code"
)
WATCH = name_columns(
    "reason=Reason:long; weight=Weight:page_text; seen_on=Of:date; path=File and line:file_line; record_no=Record:code"
)
RECORDS = name_columns("day=Day:date; what=Record; said=What it says:long; path=File and line:file_line; record_no=Record:code")
REMARKS = name_columns("rule=Rule:code; reason=Reason and what to do:long; path=File and line:file_line; record_no=Record:code")
TERMS = (
    ("maker", "maker", ""), ("model", "model", ""), ("driven out by", "expelled_by", ""), ("kind of foam", "foam_kind", ""),
    ("shell", "shell_material", ""), ("lining", "lining", ""), ("colour zone", "colour_zone", ""), ("wall when new", "wall_mm", " mm"),
    ("least wall", "wall_min_mm", " mm"), ("test pressure", "test_pressure_bar", " bar"), ("mass empty", "empty_mass_kg", " kg"),
    ("full", "full_mass_kg", " kg"), ("cartridge", "cartridge_ml", " ml"), ("cartridge made", "cartridge_made_on", ""),
    ("refillable on board:", "refillable_on_board", ""),
)  # fmt: skip
WORDS = {"condemn": "to condemn", "placement": "wrong place", "doubt": "to be looked at"}


def say_measure(value: float | None) -> str:
    """A measured value or a limit as it was read: 0.28, 16.7, 5."""
    return words.NONE if value is None else f"{float(value):.6g}".replace("-", "−")


def list_against(data: UnitData) -> Table:
    """Each reason with its value, limit, rule and record."""
    rows = tuple(
        (WORDS.get(v.verdict, v.verdict), v.reason, say_measure(v.value), say_measure(v.limit_value), verdict_rows.link_rule(v), v.seen_on, (v.path, v.line_no), v.record_no)
        for v in data.verdicts
    )  # fmt: skip
    names = words.say_list([verdict_words.NAMES[name].lower() for name in dict.fromkeys(v.verdict for v in data.verdicts)])
    caption = f"{words.say_capital(words.say_count(len(rows), 'reason'))}: {names}"
    return Table("against", caption, AGAINST, rows, has_twin=False,
                 empty="By the rules in force nothing on record stands against this unit. That is no proof that it is sound.")  # fmt: skip


def say_basis(row: Row) -> str:
    """What the due date runs from."""
    if row.basis_on is None:
        return "nothing to count from"
    kind = due_items.BASIS_WORDS.get(row.basis_kind or "", words.say_slug(row.basis_kind))
    return f"{'no such record; ' if row.basis_kind in due_items.NO_RECORD else ''}{kind}, {words.say_date(row.basis_on)}"


def list_duties(data: UnitData, context: Context) -> Table:
    """Each duty of the unit, and of the group that it stands in; what is late first."""
    rows = []
    for row in data.duties:
        rule = context.book.find_rule(row.rule_id)
        name = words.say_capital(context.book.name_duty(row.duty)) + (", its group’s" if row.is_group else "")
        mark = link_rule(rule) if rule else row.rule_id
        rows.append((name, row.state, row.due_on, say_basis(row), mark, (row.path, row.line_no), row.record_no))
    return Table("duties", f"{words.say_capital(words.say_count(len(rows), 'duty', 'duties'))}, late ones first", DUTIES, tuple(rows), has_twin=False,
                 empty="No duty runs for this unit on this date: it is not in service, or no rule binds it.")  # fmt: skip


@cache
def link_rule(rule: Rule) -> Link:
    """The rule's mark, leading to it on the Method page."""
    return Link(rule.mark, f"method.html#{rule.anchor}")


def list_stays(data: UnitData, context: Context) -> Table:
    """Each row of a register that holds the unit, as the latest file has it."""
    rows = tuple(
        (
            context.link_vessel(r.imo_number), r.in_service_on, r.removed_on, words.say_slug(r.removal_reason),
            ", ".join(part for part in (r.position_no, r.space_name) if part), say_counted(r, data.standing), (r.path, r.line_no), r.record_no,
        )
        for r in data.stays
    )  # fmt: skip
    said = f"{words.say_capital(words.say_count(len(rows), 'stay'))} on the registers"
    return Table("stays", said, STAYS, rows, has_twin=False)


def say_counted(stay: Row, standing: list[Row]) -> str:
    """How the stay is counted on the day, where it lasts."""
    found = (
        s.counted
        for s in standing
        if s.imo_number == stay.imo_number and s.position_no == stay.position_no and not stay.removed_on
    )
    return next(found, "over" if stay.removed_on else "not on this date")


def say_term(value: object) -> str:
    """A cell of the register in words."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if hasattr(value, "isoformat"):
        return words.say_date(value)
    return words.cut_name(words.say_slug(value)) if isinstance(value, str) else f"{value:g}"


def tell_terms(data: UnitData) -> Note:
    """What the latest register row says of the extinguisher itself; what it leaves open is not named."""
    row = data.stays[-1]
    made = words.say_part_date(row.made_on, row.made_on_precision) if row.made_on else "not stated"
    known = [(name, value, unit) for name, column, unit in TERMS if (value := getattr(row, column)) is not None]
    said = [f"made {made}", *(f"{name} {say_term(v)}{unit.replace(' ', words.THIN)}" for name, v, unit in known)]
    return Note(f"The extinguisher, by its last register row: {'; '.join(said)}.")


def list_watch(data: UnitData) -> Table:
    """Reasons of its place on the watch list, hard ones first."""
    rows = tuple(
        (words.say_capital(r.reason), watch_tables.say_weight(r.weight, r.reason_kind), r.seen_on, (r.path, r.line_no), r.record_no)
        for r in data.watch if r.reason
    )  # fmt: skip
    return Table("watch", "Reasons and the records they rest on, hard ones first", WATCH, rows, has_twin=False,
                 empty="No sign above the average of the fleet.")  # fmt: skip


def write_record(row: Row, context: Context) -> tuple:
    """One record as a row; what a later file replaced says by what."""
    said = row.said
    if row.later_path:
        said = f"REPLACED by a later file, counts no longer ({row.later_path}, record {row.replaced_by_record_no}): {said}"
    elif row.day and row.day > context.as_of:
        said = f"AFTER this date, not counted: {said}"
    return (row.day, row.what, said, (row.path, row.line_no), row.record_no)


def list_records(data: UnitData, context: Context) -> Table:
    """Every record, latest first."""
    rows = tuple(write_record(row, context) for row in data.records)
    said = f"{words.say_capital(words.say_count(len(rows), 'record'))}, latest first"
    return Table("records", said, RECORDS, rows, has_twin=False,
                 empty="No inspection, service or finding of this unit is on record.")  # fmt: skip


def list_remarks(data: UnitData) -> tuple[Table, ...]:
    """Doubts and corrections about its records; rows kept out that name it."""
    doubts = tuple((r.rule, r.reason, (r.path, r.line_no), r.record_no) for r in data.remarks)
    refused = tuple(
        (r.rule, f"{r.reason}{' A later file answers it.' if r.is_answered else ''}", (r.path, r.line_no), r.record_no) for r in data.refused
    )  # fmt: skip
    tables = (
        Table("doubts", f"{words.say_capital(words.say_count(len(doubts), 'remark'))} on its records, which count all the same", REMARKS, doubts, has_twin=False),
        Table("refused", f"{words.say_capital(words.say_count(len(refused), 'reason'))} of rows that name it and were kept out", REMARKS, refused, has_twin=False),
    )  # fmt: skip
    return tuple(table for table in tables if table.rows)
