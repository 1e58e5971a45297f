"""One unit's life as the figures see it. In: a database and a unit. Out: lines naming the file and line
behind each date, and the rule."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path
from types import SimpleNamespace

from pipeline.errors import UserError
from pipeline.statements import read_sql
from pipeline.warehouse.build import read_database

CAUTION = (
    "This supports and never replaces the vessel's procedures, the maker's manual, flag and class rules and a competent "
    "person. Never repair a pressure shell by welding; never pressure-test outside a test shop."
)


VERDICTS = {"condemn": "TO CONDEMN", "unfit": "UNFIT", "placement": "WRONG PLACE OR KIND", "doubt": "to be looked at"}


def explain_unit(db: Path, unit_id: str) -> list[str]:
    """Stays, then every span of every duty, begun by the day of the report, with the line behind each date and the rule.

    Raises UserError no-database or unknown-unit-asked.
    """
    unit_id = unit_id.encode("utf-8", "replace").decode()  # a shell may hand over bytes that are no text
    with read_database(db) as con:
        as_of = con.execute("select as_of from intake.run").fetchone()[0]
        stays = con.execute(
            "select unit.imo_number, vessel_name, agent, form, coalesce(charge_kg::varchar || ' kg', charge_l::varchar || ' l', ''), "
            "made_on, made_on_precision, in_service_on, "
            "case when removed_on <= $as_of then removed_on end, removal_reason, path, unit.line_no, unit.record_no "
            "from record.unit left join record.vessel using (imo_number) join intake.file on file.file_id = unit.file_id "
            "where unit_id = $unit_id and coalesce(in_service_on <= $as_of, true) order by in_service_on nulls first",
            {"unit_id": unit_id, "as_of": as_of},
        ).fetchall()
        if not stays:
            _refuse_later(con, db, unit_id, as_of)
            raise UserError("unknown-unit-asked", unit_id=unit_id, db=db, near=_near(con, unit_id))
        lines = [f"Unit {unit_id}, as of {as_of}"]
        lines += [_stay_line(*stay) for stay in stays]
        lines += _verdict_lines(con, unit_id)
        lines += _span_lines(con, unit_id, as_of)
        lines += _failed_lines(con, unit_id, as_of) + _corrected_lines(con, unit_id, as_of) + _version_lines(con, unit_id, as_of)
    return [*lines, "", CAUTION]


def _refuse_later(con, db: Path, unit_id: str, as_of: date) -> None:
    """A unit that the register knows, but only from a later day on. Raises UserError unit-not-yet-aboard."""
    first_on = con.execute(
        "select min(in_service_on) from record.unit where unit_id = $unit_id", {"unit_id": unit_id}
    ).fetchone()[0]
    if first_on:
        raise UserError("unit-not-yet-aboard", unit_id=unit_id, as_of=as_of, db=db, first_on=first_on)


def _near(con, unit_id: str) -> str:
    """Where else to look: a row of the register in quarantine, or units with a number much like it."""
    row = con.execute(
        "select path, line_no, reason from intake.quarantine join intake.file using (file_id) "
        "where table_name = 'unit' and list_contains(json_extract_string(raw, '$.*'), $unit_id) order by path, line_no limit 1",
        {"unit_id": unit_id},
    ).fetchone()
    if row:
        return f"; its register row is in quarantine, {row[0]} line {row[1]}: {row[2].rstrip('.')}"
    rows = con.execute(
        "select distinct unit_id from record.unit where jaro_winkler_similarity(lower(unit_id), lower($unit_id)) > 0.85 "
        "order by jaro_winkler_similarity(lower(unit_id), lower($unit_id)) desc, unit_id limit 3",
        {"unit_id": unit_id},
    ).fetchall()
    return f"; near it are {', '.join(row[0] for row in rows)}" if rows else ""


def _stay_line(imo, vessel, agent, form, charge, made_on, precision, from_on, to_on, why, *place) -> str:
    made = f"made {made_on}" + (f" (only the {precision} is known)" if precision in ("year", "month") else "")
    until = f" until {to_on} ({why or 'no reason given'})" if to_on else ""
    kind = " ".join(word for word in (agent, charge, form) if word)
    return (
        f"  on {vessel or 'unnamed'} ({imo}) from {from_on or 'an unknown day'}{until}: {kind}, "
        f"{made if made_on else 'date of manufacture unknown'}  {_place(*place)}"
    )


def _span_lines(con, unit_id: str, as_of: date) -> list[str]:
    lines, last = [], None
    for span in _select(con, read_sql("pipeline", "explain"), {"unit_id": unit_id, "as_of": as_of}):
        whose = (span.duty, span.imo_number, span.group_id, span.stay_no, span.rule_id, span.judged_from)
        if whose != last:
            last = whose
            lines += ["", _rule_line(span, as_of)]
        lines.append("  " + _span_line(span, as_of))
    return lines


def _rule_line(span: SimpleNamespace, as_of: date) -> str:
    whose = f" of the group {span.group_id}" if span.group_id else ""
    aboard = "" if span.group_id else f", aboard from {span.began_on}"
    months = span.interval_months
    every = "at once" if months == 0 else "every month" if months == 1 else f"every {months} months"
    grace = f", {span.grace_months} months of grace" if span.grace_months else ""
    runs = ", from the day it was due" if span.anchor == "due" else ""
    force = (
        f", in force from {span.judged_from}"
        if span.judged_from and span.judged_from > (span.began_on or span.judged_from)
        else ""
    )
    if span.judged_to and span.judged_to != span.left_on and span.judged_to <= as_of:
        force += f", until {span.judged_to}"
    return (
        f"{span.title}{whose} on {span.imo_number}{aboard}: {every}{grace}{runs}; {span.source}, {span.clause} "
        f"[{span.certainty}] (rule {span.rule_id}{force}; {span.regime}, {span.breach_label})"
    )


def _span_line(span: SimpleNamespace, as_of: date) -> str:
    basis_at = _place(span.basis_path, span.basis_line_no, span.basis_record_no)
    if span.basis_on is None:
        return f"no basis: {span.basis_kind} is empty {basis_at}; nobody can tell when it is due"
    absent = "no such record; " if span.basis_kind in ("in_service_on", "made_on", "cartridge_made_on") else ""
    basis = f"{absent}from {span.basis_on} ({span.basis_kind}) {basis_at}: due {span.due_on}"
    if span.done_on and span.done_on <= as_of:
        late = f", {_days(span.done_on - span.due_on)} late" if span.done_on > span.due_on else ", in time"
        return f"{basis}, done {span.done_on} ({span.done_kind}) {_place(span.done_path, span.done_line_no, span.done_record_no)}{late}"
    if span.left_on and span.left_on <= as_of:
        return f"{basis}, open when the unit left on {span.left_on}"
    if span.judged_to and span.judged_to <= as_of:
        return f"{basis}, open when another rule took its place on {span.judged_to}"
    if span.due_on < as_of:
        return f"{basis}, OVERDUE by {_days(as_of - span.due_on)}"
    return f"{basis}, not yet due"


def _select(con, sql: str, parameters: dict) -> list[SimpleNamespace]:
    cursor = con.execute(sql, parameters)
    names = [column[0] for column in cursor.description]
    return [SimpleNamespace(**dict(zip(names, row, strict=True))) for row in cursor.fetchall()]


def _verdict_lines(con, unit_id: str) -> list[str]:
    """What stands against the unit: each reason with what was seen, its limit, rule, source and record; hard reasons first."""
    rows = _select(con, read_sql("pipeline", "explain_verdicts"), {"unit_id": unit_id})
    laxer = con.execute(read_sql("pipeline", "explain_laxer"), {"unit_id": unit_id}).fetchall()
    said = [
        f"  ASKS LESS: rule {rule_id} ({regime}, {label}; {file}): {loosens}" for rule_id, regime, label, file, loosens in laxer
    ]
    return _against_lines(rows) + (
        ["", "Of this unit these rules ask less than those whose place they take:", *said] if said else []
    )


def _against_lines(rows: list[SimpleNamespace]) -> list[str]:
    if not rows:
        return ["", "Nothing on record stands against this unit under the rules in force."]
    return ["", "Against this unit:"] + [
        f"  {VERDICTS[row.verdict]}: {row.reason} (seen {row.seen_on}) {_place(row.path, row.line_no, row.record_no)}; "
        f"{row.source}, {row.clause} [{row.certainty}] (rule {row.rule_id}; {row.regime}, {row.breach_label}"
        + (f"; asks less than the rule it replaces: {row.loosens})" if row.loosens else ")")
        for row in rows
    ]


def _failed_lines(con, unit_id: str, as_of: date) -> list[str]:
    """Inspections and services that satisfied nothing: tried without success, or not passed."""
    rows = con.execute(
        "select seen.day, what, coalesce(outcome, 'no outcome'), path, line_no, record_no from ("
        "select inspected_on as day, 'inspection' as what, outcome, file_id, line_no, record_no from record.inspection where unit_id = $unit_id "
        "union all select serviced_on, kind, outcome, file_id, line_no, record_no from record.service where unit_id = $unit_id) as seen "
        "join intake.file using (file_id) where seen.day <= $as_of and outcome is distinct from 'satisfactory' order by seen.day, what",
        {"unit_id": unit_id, "as_of": as_of},
    ).fetchall()
    if not rows:
        return []
    return ["", "Records that satisfied no duty:"] + [
        f"  {day} {what}: {outcome} {_place(*place)}" for day, what, outcome, *place in rows
    ]


def _corrected_lines(con, unit_id: str, as_of: date) -> list[str]:
    """Cells behind these dates that somebody declared to be otherwise than they came."""
    rows = con.execute(read_sql("pipeline", "explain_corrections"), {"unit_id": unit_id, "as_of": as_of}).fetchall()
    if not rows:
        return []
    return ["", "Declared corrections:"] + [
        f"  {path}, record {record_no}, {column}: {was!r} read as {to!r}; {why} ({who}, {on}) [{declared_in}, record {declared_no}]"
        for path, record_no, column, was, to, why, who, on, declared_in, declared_no in rows
    ]


def _version_lines(con, unit_id: str, as_of: date) -> list[str]:
    """Earlier versions of the records: which counted until when."""
    rows = con.execute(read_sql("pipeline", "explain_versions"), {"unit_id": unit_id, "as_of": as_of}).fetchall()
    if not rows:
        return []
    return ["", "Earlier versions, replaced by later files:"] + [
        f"  {what} {_place(path, line_no, record_no)}, received {came}: counted until {until}, then [{later}, record {later_no}]"
        for what, path, line_no, record_no, came, until, later, later_no in rows
    ]


def _place(path: str, line_no: int, record_no: int) -> str:
    return f"[{path}, line {line_no}, record {record_no}]"


def _days(length: timedelta) -> str:
    return "1 day" if length.days == 1 else f"{length.days:,} days"
