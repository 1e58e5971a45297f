"""One unit's life as the figures see it. In: a database and a unit. Out: lines naming each date's record and rule."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

from pipeline.errors import UserError
from pipeline.warehouse.build import read_database

CAUTION = (
    "This supports and never replaces the vessel's procedures, the maker's manual, flag and class rules and a competent "
    "person. Never repair a pressure shell by welding; never pressure-test outside a test shop."
)


def explain_unit(db: Path, unit_id: str) -> list[str]:
    """Stays, then every span of every duty with the record behind each date and the rule behind each interval.

    Raises UserError no-database or unknown-unit-asked.
    """
    unit_id = unit_id.encode("utf-8", "replace").decode()  # a shell may hand over bytes that are no text
    with read_database(db) as con:
        as_of = con.execute("select as_of from intake.run").fetchone()[0]
        stays = con.execute(
            "select unit.imo_number, vessel_name, agent, form, coalesce(charge_kg::varchar || ' kg', charge_l::varchar || ' l', ''), "
            "made_on, made_on_precision, in_service_on, removed_on, removal_reason, path, unit.record_no, unit.line_no "
            "from record.unit left join record.vessel using (imo_number) join intake.file on file.file_id = unit.file_id "
            "where unit_id = $unit_id order by in_service_on nulls first",
            {"unit_id": unit_id},
        ).fetchall()
        if not stays:
            raise UserError("unknown-unit-asked", unit_id=unit_id, db=db, near=_near(con, unit_id))
        lines = [f"Unit {unit_id}, as of {as_of}"]
        lines += [_stay_line(*stay) for stay in stays]
        lines += _span_lines(con, unit_id, as_of)
    return [*lines, "", CAUTION]


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


def _stay_line(imo, vessel, agent, form, charge, made_on, precision, from_on, to_on, why, path, record_no, line_no) -> str:
    made = f"made {made_on}" + (f" (only the {precision} is known)" if precision in ("year", "month") else "")
    until = f" until {to_on} ({why or 'no reason given'})" if to_on else ""
    kind = " ".join(word for word in (agent, charge, form) if word)
    return (
        f"  on {vessel or 'unnamed'} ({imo}) from {from_on or 'an unknown day'}{until}: {kind}, "
        f"{made if made_on else 'date of manufacture unknown'}  [{path}, record {record_no}, line {line_no}]"
    )


def _span_lines(con, unit_id: str, as_of) -> list[str]:
    sql = files("pipeline").joinpath("explain.sql").read_text(encoding="utf-8")
    lines, last = [], None
    for duty, title, months, source, clause, certainty, rule_id, imo, group, *span in con.execute(
        sql, {"unit_id": unit_id}
    ).fetchall():
        if (duty, imo, group) != last:
            last = (duty, imo, group)
            of_group = f" of the group {group}" if group else ""
            lines += ["", f"{title}{of_group} on {imo}: every {months} months; {source}, {clause} [{certainty}] (rule {rule_id})"]
        lines.append("  " + _span_line(span, as_of))
    return lines


def _span_line(span: list, as_of) -> str:
    basis_on, basis_kind, basis_path, basis_no, due_on, done_on, done_kind, done_path, done_no, left_on = span
    if basis_on is None:
        return f"no basis: {basis_kind} is empty [{basis_path}, record {basis_no}]; nobody can tell when it is due"
    basis = f"from {basis_on} ({basis_kind}) [{basis_path}, record {basis_no}]: due {due_on}"
    if done_on and done_on <= as_of:
        late = f", {(done_on - due_on).days} days late" if done_on > due_on else ", in time"
        return f"{basis}, done {done_on} ({done_kind}) [{done_path}, record {done_no}]{late}"
    if left_on and left_on <= as_of:
        return f"{basis}, open when the unit left on {left_on}"
    if due_on < as_of:
        return f"{basis}, OVERDUE by {(as_of - due_on).days} days"
    return f"{basis}, not yet due"
