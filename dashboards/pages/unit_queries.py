"""What the unit pages ask the database, each query once for a run of units and ordered by unit.

In: $day, $first and $last, the numbers of the first and the last unit. Out: SQL, in the order of the lists of `UnitData`.
"""

from __future__ import annotations

from dashboards.pages.verdict_rows import VERDICTS_FROM


def say(text: str, column: str, after: str = "") -> str:
    """'gauge 12.5 bar' as SQL; null where the column is."""
    return f"'{text} ' || round({column}, 3) || '{after}'"


def say_day(text: str, column: str) -> str:
    """'closed 3 Aug 2026' as SQL; null where the column is."""
    return f"'{text} ' || strftime({column}, '%-d %b %Y')"


STAYS = """
    SELECT r.*, f.path FROM record.unit AS r LEFT JOIN intake.file AS f USING (file_id) WHERE unit_id BETWEEN $first AND $last
    ORDER BY unit_id, coalesce(in_service_on, made_on) NULLS FIRST, imo_number, f.path, record_no"""
STANDING = """
    SELECT unit_id, imo_number, counted, position_no, space_name, open_findings, worst_open_severity, overdue_duties FROM figure.unit_now
    WHERE unit_id BETWEEN $first AND $last ORDER BY unit_id, counted <> 'in service', imo_number, position_no"""
VERDICTS = f"SELECT * FROM ({VERDICTS_FROM}) WHERE unit_id BETWEEN $first AND $last ORDER BY unit_id, list_position(['condemn', 'unfit', 'placement', 'doubt'], verdict), rule_id, seen_on, reason, path, line_no"
WATCH = """
    SELECT l.unit_id, l.list_rank, l.hard_reason, l.kind, l.band, l.chance_12_months, l.low, l.high, l.points, l.like_units, l.like_condemned,
        l.would_change, r.reason, r.kind AS reason_kind, r.weight, r.table_name, r.seen_on, f.path, r.record_no, r.line_no
    FROM figure.watch_list AS l LEFT JOIN figure.watch_reason AS r USING (unit_id) LEFT JOIN intake.file AS f USING (file_id) WHERE l.unit_id BETWEEN $first AND $last
    ORDER BY l.unit_id, r.kind <> 'hard', r.reason_no, r.seen_on DESC NULLS LAST, f.path, r.line_no"""
DUTIES = """
    WITH mine AS (
        SELECT unit_id AS of_unit, * FROM figure.duty_now WHERE NOT is_group
        UNION ALL
        SELECT g.unit_id, d.* FROM figure.duty_now AS d
        JOIN (SELECT DISTINCT s.imo_number, s.group_id, s.unit_id FROM duty.sample_group AS s
              JOIN figure.unit_now AS n USING (imo_number, unit_id) WHERE n.counted = 'in service') AS g
            ON g.imo_number = d.imo_number AND g.group_id = d.unit_id WHERE d.is_group)
    SELECT m.of_unit AS unit_id, m.imo_number, m.is_group, m.duty, m.rule_id, m.basis_on, m.basis_kind, m.due_on, m.state, m.days_overdue, f.path,
        m.basis_record_no AS record_no, m.basis_line_no AS line_no
    FROM mine AS m LEFT JOIN intake.file AS f ON f.file_id = m.basis_file_id WHERE m.of_unit BETWEEN $first AND $last
    ORDER BY m.of_unit, list_position(['overdue', 'unknown'], m.state) NULLS LAST, m.due_on, m.duty, m.imo_number"""
LATE = """
    SELECT unit_id, from_on, least(to_on, $day) AS to_on FROM figure.count_interval
    WHERE measure = 'overdue' AND duty = '*' AND unit_id BETWEEN $first AND $last ORDER BY unit_id, from_on, to_on"""
INSPECTION = f"""
    SELECT unit_id, 'check' AS lane, inspected_on AS day, 'Inspection' AS what, concat_ws('; ', replace(outcome, '_', ' '),
        'by ' || replace(inspector_role, '_', ' '), remarks, {say_day("next due stated", "stated_next_due_on")}) AS said,
        'inspection' AS table_name, file_id, record_no, line_no"""
SERVICE = f"""
    SELECT unit_id, 'service', serviced_on, upper(kind[1]) || replace(kind[2:], '_', ' '), concat_ws('; ', replace(outcome, '_', ' '), 'by ' || provider,
        'certificate ' || certificate_no, 'tested: ' || replace(tested_part, '_', ' '), {say("mass", "mass_kg", " kg")},
        {say("cartridge", "cartridge_mass_kg", " kg")}, {say("gauge", "gauge_bar", " bar")}, {say("proof pressure", "proof_pressure_bar", " bar")},
        {say("discharge", "discharge_s", " s")}, {say("throw", "throw_m", " m")}, {say("discharged", "discharged_pct", " %")},
        {say("wall", "wall_mm_measured", " mm")}, {say_day("next due stated", "stated_next_due_on")}), 'service', file_id, record_no, line_no"""
FINDING = f"""
    SELECT unit_id, 'finding', found_on, 'Finding', concat_ws('; ', replace(component, '_', ' ') || ' ' || replace(defect, '_', ' '), severity,
        'rust grade ' || rust_grade, {say("rusted", "rusted_area_pct", " % of the area")}, {say("pit", "pit_depth_mm", " mm")},
        {say("dent", "dent_depth_mm", " mm")}, action, coalesce({say_day("closed", "closed_on")}, 'not closed')), 'finding', file_id, record_no, line_no"""
LATER = ", replaced_by_file_id, replaced_by_record_no"
NEVER = ", NULL AS replaced_by_file_id, NULL AS replaced_by_record_no"
REGISTER = f"""
    SELECT unit_id, 'register', coalesce(in_service_on, made_on), 'Register row', concat_ws('; ', 'IMO ' || imo_number, position_no, space_name,
        replace(agent, '_', ' '), {say_day("removed", "removed_on")}), 'unit', file_id, record_no, line_no"""
PARTS = ((INSPECTION, "inspection"), (SERVICE, "service"), (FINDING, "finding"))
RECORDS = f"""
    SELECT r.*, f.path, later.path AS later_path FROM (
        {" UNION ALL ".join(f"{select}{NEVER} FROM record.{table}" for select, table in PARTS)} UNION ALL
        {" UNION ALL ".join(f"{select}{LATER} FROM history.{table}" for select, table in (*PARTS, (REGISTER, "unit")))}) AS r
    LEFT JOIN intake.file AS f USING (file_id) LEFT JOIN intake.file AS later ON later.file_id = r.replaced_by_file_id
    WHERE r.unit_id BETWEEN $first AND $last ORDER BY r.unit_id, r.day DESC NULLS LAST, r.what, f.path, r.line_no, r.record_no, r.said"""
# A doubt or a correction is of a record: every unit whose row comes from it has it.
REMARKS = """
    WITH mine AS (
        SELECT DISTINCT unit_id, table_name, file_id, record_no, line_no FROM (
            SELECT unit_id, 'unit' AS table_name, file_id, record_no, line_no FROM record.unit
            UNION ALL SELECT unit_id, 'inspection', file_id, record_no, line_no FROM record.inspection
            UNION ALL SELECT unit_id, 'service', file_id, record_no, line_no FROM record.service
            UNION ALL SELECT unit_id, 'finding', file_id, record_no, line_no FROM record.finding) WHERE unit_id BETWEEN $first AND $last),
    said AS (
        SELECT m.unit_id, m.file_id, m.record_no, m.line_no, g.rule, g.column_name, g.reason FROM intake.flag AS g
        JOIN mine AS m ON m.file_id = g.file_id AND m.record_no = g.record_no AND m.table_name = g.table_name
        UNION
        SELECT m.unit_id, m.file_id, m.record_no, m.line_no, 'corrected', c.column_name,
            'Declared correction: "' || coalesce(c.from_value, '') || '" is read as "' || coalesce(c.to_value, '') || '", because: ' || coalesce(c.why, '')
            || ' (' || coalesce(c.who, '') || ')'
        FROM intake.correction AS c JOIN mine AS m ON m.file_id = c.file_id AND m.record_no = c.record_no)
    SELECT s.*, f.path FROM said AS s LEFT JOIN intake.file AS f USING (file_id)
    ORDER BY s.unit_id, f.path, s.line_no, s.rule, s.column_name, s.reason"""
BY_UNIT = (STAYS, STANDING, VERDICTS, WATCH, DUTIES, LATE, RECORDS, REMARKS)
