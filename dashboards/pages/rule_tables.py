"""The rule book beyond the duties, for the Method page: limits, reasons, places, numbers; and what asks less than it replaces.

In: duty.provision and the table of each kind. Out: tables.
"""

from __future__ import annotations

import duckdb

from dashboards import words
from dashboards.blocks import Anchor, Table, name_columns
from dashboards.database import select_rows

BOUND = """p.rule_id IN (SELECT rule_id FROM duty.in_force UNION SELECT rule_id FROM duty.vessel_in_force)"""
KINDS_SQL = f"""
    SELECT p.rule_id, p.kind, p.title, p.source, p.clause, p.certainty, p.regime, p.layer, p.breach_label, p.loosens,
        coalesce(l.verdict, g.verdict, CASE WHEN b.breach IS NOT NULL THEN 'placement' ELSE 'number' END) AS verdict,
        CASE p.kind
            WHEN 'limit' THEN concat_ws(' ', replace(l.measure, '_', ' '), l.breach, coalesce(regexp_replace(l.limit_value::VARCHAR, '\\.0$', ''),
                'the ' || replace(l.limit_from, '_', ' ') || ' of the register'), l.unit)
            WHEN 'ground' THEN concat_ws(', ', g.record, array_to_string(g.components, '/'), array_to_string(g.defects, '/'),
                array_to_string(g.severities, '/'), array_to_string(g.kinds, '/'), array_to_string(g.outcomes, '/'), array_to_string(g.words, '/'))
            WHEN 'placement' THEN concat_ws(' ', b.breach, b.colour_zone_expected)
            ELSE concat_ws(' ', replace(n.measure, '_', ' '), 'at least ' || n.least, 'all of the first ' || n."first",
                'and ' || round(100 * n.share)::INTEGER || ' % of the others', 'at most ' || n.cap) END AS asks,
        concat_ws('; ', array_to_string(p.agents, ', '), array_to_string(p.forms, ', '), array_to_string(p.expelled_by, ', '),
            array_to_string(p.foam_kinds, ', '), array_to_string(p.space_categories, ', '), array_to_string(p.space_names, ', '),
            array_to_string(p.agent_details, ', '), 'without ' || array_to_string(p.without_details, ', '),
            array_to_string(p.shell_materials, ', '), 'charge above ' || p.charge_above, 'charge up to ' || p.charge_up_to,
            'air below ' || p.air_temp_below_c || ' C', 'from ' || p.gross_tonnage_from || ' GT') AS scope,
        p.effective_from, p.effective_until, p.about
    FROM duty.provision AS p LEFT JOIN duty."limit" AS l USING (rule_id) LEFT JOIN duty.ground AS g USING (rule_id)
    LEFT JOIN duty.placement AS b USING (rule_id) LEFT JOIN duty.number AS n USING (rule_id)
    WHERE p.kind NOT IN ('duty', 'drop') AND {BOUND} ORDER BY p.rule_no"""
LOOSE_SQL = f"""
    SELECT p.rule_id, p.title, p.loosens, p.regime, p.layer, p.source, p.clause, p.certainty FROM duty.provision AS p
    WHERE p.loosens IS NOT NULL AND ({BOUND} OR p.kind = 'drop' AND p.regime_slug IN (
        SELECT regime_slug FROM duty.binding AS b JOIN record.vessel AS v ON b.flag IS NULL OR b.flag = v.flag)) ORDER BY p.rule_no"""


def list_kinds(con: duckdb.DuckDBPyConnection) -> Table:
    """Every limit, reason, place and number that binds a unit or vessel of the fleet."""
    columns = name_columns(
        "title=Rule:anchor; asks=Broken, or asked:long; scope=Covers:long; verdict=Verdict; source=Source and clause:long; "
        "certainty=Certainty; regime=Set of rules; effective_from=In force from:date; effective_until=Until:date; rule_id=Rule:code"
    )
    rows = tuple(
        (
            Anchor(words.say_capital(r.title), f"rule-{r.rule_id}"),
            r.asks,
            words.say_slug(r.scope) or "every unit",
            words.say_slug(r.verdict),
            f"{r.source}, {r.clause}",
            f"[{r.certainty}] {words.CERTAINTY.get(r.certainty, '')}",
            r.regime,
            r.effective_from,
            r.effective_until,
            r.rule_id,
        )
        for r in select_rows(con, KINDS_SQL)
    )
    return Table(
        "limits", "Limits, reasons, places and numbers in force for this fleet", columns, rows, empty="No such rule is in force."
    )


def list_loosened(con: duckdb.DuckDBPyConnection) -> Table:
    """Rules in force that ask less than the rule whose place they take."""
    columns = name_columns(
        "title=Rule; loosens=Asks less:long; regime=Set of rules; source=Source and clause:long; rule_id=Rule:code"
    )
    rows = tuple(
        (words.say_capital(r.title), r.loosens, f"{r.regime} ({r.layer})", f"{r.source}, {r.clause} [{r.certainty}]", r.rule_id)
        for r in select_rows(con, LOOSE_SQL)
    )
    return Table(
        "loosened",
        "Rules that ask less than the one they replace",
        columns,
        rows,
        empty="No rule in force asks less than the one it replaces.",
    )
