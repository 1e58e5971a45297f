"""Lists behind a vessel's numbers: the units that a rule about numbers counts, and the counts of spare charges that it takes.

In: figure.number_now, unit_now, verdict, duty.provision, duty.number, record.unit, record.spare. Out: lines of lists. Which spares fit which
units is a matter of numbers, not of single spares, so that of spares no list says which of them are of use.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import duckdb

from dashboards import words
from dashboards.blocks import Context, Count
from dashboards.database import select_rows
from dashboards.pages.list_book import Entry, Named
from dashboards.pages.list_units import make_entry
from dashboards.pages.unit_names import name_safely

Row = Any
UNITS_SQL = """
    WITH aboard AS (
        SELECT n.counted, u.* REPLACE (round(u.charge_l, 1) AS charge_l, round(u.charge_kg, 1) AS charge_kg),
            (u.imo_number, u.unit_id) IN (SELECT (imo_number, unit_id) FROM figure.verdict WHERE verdict IN ('unfit', 'condemn')) AS is_unfit
        FROM figure.unit_now AS n JOIN record.unit AS u ON u.file_id = n.file_id AND u.record_no = n.record_no AND u.unit_id = n.unit_id
        WHERE n.counted <> 'ashore'
        QUALIFY row_number() OVER (PARTITION BY u.imo_number, u.unit_id
            ORDER BY coalesce(u.in_service_on, u.made_on) DESC, u.in_service_on DESC NULLS LAST, u.record_no) = 1)
    SELECT n.rule_id, n.measure, p.title, n.agent AS of_agent, n.charge_l AS of_charge_l, n.charge_kg AS of_charge_kg, a.imo_number, a.unit_id,
        a.position_no, a.space_name, a.counted, a.agent, a.form, a.is_unfit, f.path, a.line_no
    FROM figure.number_now AS n JOIN duty.provision AS p USING (rule_id) JOIN duty.number AS r USING (rule_id)
    JOIN aboard AS a ON a.imo_number = n.imo_number AND (a.counted = 'spare') = (n.measure = 'spare_units')
        AND (p.agents IS NULL OR list_contains(p.agents, a.agent)) AND (p.forms IS NULL OR list_contains(p.forms, a.form))
        AND (n.measure = 'spare_units' OR p.space_categories IS NULL OR list_contains(p.space_categories, a.space_category))
        AND (coalesce(r."by", 'vessel') = 'vessel' OR (a.agent = n.agent AND NOT (n.measure = 'spare_units' AND a.is_unfit)))
        AND (r."by" IS DISTINCT FROM 'agent_and_size'
            OR (a.charge_l IS NOT DISTINCT FROM n.charge_l AND a.charge_kg IS NOT DISTINCT FROM n.charge_kg))
    LEFT JOIN intake.file AS f ON f.file_id = a.file_id
    WHERE n.measure IN ('portable_units', 'spare_units')
    ORDER BY a.imo_number, n.rule_id, n.agent, n.charge_l, n.charge_kg, a.position_no NULLS LAST, a.unit_id"""
# The last count of each agent, as figure.number_now takes it; only lines whose charges together are the number held.
CHARGES_SQL = """
    WITH last_count AS (
        SELECT * FROM record.spare WHERE counted_on <= $day QUALIFY counted_on = max(counted_on) OVER (PARTITION BY imo_number, agent))
    SELECT n.rule_id, p.title, n.agent AS of_agent, n.charge_l AS of_charge_l, n.charge_kg AS of_charge_kg, c.*, f.path
    FROM figure.number_now AS n JOIN duty.provision AS p USING (rule_id) JOIN duty.number AS r USING (rule_id)
    JOIN last_count AS c ON c.imo_number = n.imo_number AND (p.agents IS NULL OR list_contains(p.agents, c.agent))
        AND (r."by" = 'vessel' OR c.agent = n.agent)
        AND (r."by" <> 'agent_and_size' OR (round(c.charge_l, 1) IS NOT DISTINCT FROM n.charge_l
            AND round(c.charge_kg, 1) IS NOT DISTINCT FROM n.charge_kg))
    LEFT JOIN intake.file AS f ON f.file_id = c.file_id
    WHERE n.measure = 'spare_charges'
    QUALIFY sum(c.spare_charges) OVER (PARTITION BY n.imo_number, n.rule_id, n.agent, n.charge_l, n.charge_kg) = n.held
    ORDER BY n.imo_number, n.rule_id, n.agent, n.charge_l, n.charge_kg, c.agent, c.charge_l, c.charge_kg, f.path, c.line_no"""


def name_number(which: str, rule_id: str, agent: str | None, charge_l: float | None, charge_kg: float | None) -> str:
    """The list of a row of figure.number_now."""
    return f"{which}-{name_safely('|'.join(str(part or '') for part in (rule_id, agent, charge_l, charge_kg)))}"


def count_number(row: Row, context: Context) -> tuple[int | Count | None, int | Count | None, int | Count | None]:
    """Of a row of figure.number_now: held and of use, each leading to its units; and of how many lines counts of charges are the sum."""
    key, scope = (row.rule_id, row.agent, row.charge_l, row.charge_kg), row.imo_number
    counts = name_number("counts", *key)
    lines = context.lists.lengths.get(f"list/{scope}/{counts}")
    if row.measure == "spare_charges":
        return row.held, row.usable, context.count(lines, counts, scope)
    held = context.count(row.held, name_number("held", *key), scope)
    return (
        held,
        context.count(row.usable, name_number("usable", *key), scope) if row.measure == "portable_units" else row.usable,
        None,
    )


def list_numbers(con: duckdb.DuckDBPyConnection, context: Context) -> Iterator[Named]:
    """Units held and of use, rule by rule; then the lines of the last counts of spare charges."""
    for row in select_rows(con, UNITS_SQL):
        key = (row.rule_id, row.of_agent, row.of_charge_l, row.of_charge_kg)
        said = ", ".join(words.say_slug(part) for part in (row.form, row.agent, row.counted) if part)
        entry = make_entry(row, f"{said}, by the register{'; unfit or to condemn, so of no use' if row.is_unfit else ''}")
        yield name_number("held", *key), f"Held: {row.title}", entry
        if row.measure == "portable_units" and not row.is_unfit:
            yield name_number("usable", *key), f"Of use: {row.title}", entry
    for row in select_rows(con, CHARGES_SQL, day=context.as_of):
        key = (row.rule_id, row.of_agent, row.of_charge_l, row.of_charge_kg)
        yield name_number("counts", *key), f"Counts of spare charges: {row.title}", make_count(row)


def make_count(row: Row) -> Entry:
    """A line of a count of spare charges: it is about no unit."""
    what = f"{words.say_slug(row.agent or 'agent not stated')} {words.say_charge(row.charge_l, row.charge_kg)}".strip()
    counted = "no number" if row.spare_charges is None else words.say_count(row.spare_charges, "charge")
    return Entry(
        row.imo_number,
        f"charges, {what}",
        None,
        "",
        f"{counted}, counted {words.say_date(row.counted_on)}",
        row.path,
        row.line_no,
    )
