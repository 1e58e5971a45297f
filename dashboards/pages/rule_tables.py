"""The rule book beyond the duties, for the Method page: a table for each kind; and what asks less than it replaces.

In: duty.provision and the table of each kind. Out: tables, and the rules that ask less by vessel.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import duckdb

from dashboards import words
from dashboards.blocks import Anchor, Context, Table, name_columns
from dashboards.database import group_rows, select_rows
from dashboards.pages import rule_words

Row = Any
LESS = "asks less than the rule it replaces"
# A rule with a verdict is judged on the day itself, so only what binds something on that day is in force.
KINDS_SQL = """
    SELECT p.*, l.verdict, l.measure, l.breach, l.limit_value, l.limit_from, l.unit, g.verdict AS ground_verdict, g.record, g.components,
        g.defects, g.severities, g.kinds, g.outcomes, g.words, b.breach AS placement, b.colour_zone_expected, n.measure AS counted,
        n.least, n."first", n.share, n.cap
    FROM duty.provision AS p LEFT JOIN duty."limit" AS l USING (rule_id) LEFT JOIN duty.ground AS g USING (rule_id)
    LEFT JOIN duty.placement AS b USING (rule_id) LEFT JOIN duty.number AS n USING (rule_id)
    WHERE p.kind NOT IN ('duty', 'drop') AND p.rule_id IN (
        SELECT rule_id FROM duty.in_force WHERE from_on <= $day AND to_on > $day
        UNION SELECT rule_id FROM duty.vessel_in_force WHERE from_on <= $day AND to_on > $day)
    ORDER BY p.rule_no"""
# A rule that takes others away binds no stay by itself: its layer says which vessels it is for.
LOOSE_SQL = """
    SELECT DISTINCT v.imo_number, p.rule_no, p.rule_id, p.kind, p.title, p.loosens, p.regime, p.layer, p.source, p.clause, p.certainty,
        p.effective_from, p.effective_until
    FROM duty.provision AS p JOIN duty.binding AS b USING (regime_slug)
    JOIN record.vessel AS v ON (b.flag IS NULL OR b.flag = v.flag) AND (b.vessels IS NULL OR list_contains(b.vessels, v.imo_number))
        AND (p.vessels IS NULL OR list_contains(p.vessels, v.imo_number))
    WHERE p.loosens IS NOT NULL AND coalesce(p.effective_from <= $day, true) AND coalesce(p.effective_until > $day, true)
        AND (p.kind = 'drop'
            OR EXISTS (SELECT 1 FROM duty.in_force AS f JOIN duty.stay AS s USING (stay_no) WHERE f.rule_id = p.rule_id
                AND s.imo_number = v.imo_number AND f.from_on <= $day AND f.to_on > $day)
            OR EXISTS (SELECT 1 FROM duty.vessel_in_force AS f WHERE f.rule_id = p.rule_id AND f.imo_number = v.imo_number
                AND f.from_on <= $day AND f.to_on > $day))
    ORDER BY v.imo_number, p.rule_no"""
KINDS: dict[str, tuple[str, str, Callable[[Row], str]]] = {
    "limit": ("limits", "Limits: a value on the wrong side breaks the rule, an equal one passes", rule_words.say_limit),
    "ground": ("grounds", "Grounds: a record that is a reason by itself", rule_words.say_ground),
    "placement": ("placements", "Places and colours: what must not be", rule_words.say_placement),
    "number": (
        "numbers",
        "Numbers: what a vessel must hold",
        lambda row: rule_words.say_numbers(row._replace(measure=row.counted)),
    ),
}


def name_anchor(row: Row) -> str:
    """Where a rule stands on the Method page; one that only takes others away stands with those that ask less."""
    return f"rule-{row.rule_id}"


def say_certainty(mark: str | None) -> str:
    """'[P] published text read'."""
    return f"[{mark}] {words.CERTAINTY.get(mark, 'not marked')}" if mark else "not marked"


def say_layer(row: Row) -> str:
    """'flag', 'flag, from 1 Jan 2025', 'company, until 1 Jul 2024'."""
    parts = (("from", row.effective_from), ("until", row.effective_until))
    return ", ".join([row.layer, *(f"{word} {words.say_date(day)}" for word, day in parts if day)])


def say_source(row: Row) -> str:
    """'IMO Resolution A.951(23), 9.1'."""
    return f"{row.source}, {row.clause}" if row.clause else row.source


def read_kinds(con: duckdb.DuckDBPyConnection, context: Context) -> list[Row]:
    """Every limit, ground, placement and number in force on the day, in the order of the rule book."""
    return select_rows(con, KINDS_SQL, day=context.as_of)


def list_kind(rows: list[Row], kind: str) -> Table:
    """The rules of one kind."""
    name, said, ask = KINDS[kind]
    columns = name_columns(
        "title=Rule:anchor; asks=Broken by, or asked:long; scope=Covers:long; verdict=Verdict; source=Source and clause:long; "
        "certainty=Certainty; in_force=Layer:page_text; layer=Layer:text twin; effective_from=From:date twin; effective_until=Until:date twin; "
        "rule_id=Rule:text twin; regime=Set of rules:text twin; loosens=Asks less:text twin"
    )
    cells = tuple(
        (
            Anchor(words.say_capital(r.title), f"rule-{r.rule_id}"),
            ask(r) + (f"; {LESS}: {r.loosens}" if r.loosens else ""),
            rule_words.say_scope(r),
            words.say_slug(r.verdict or r.ground_verdict) if kind in ("limit", "ground") else kind,
            say_source(r),
            say_certainty(r.certainty),
            say_layer(r),
            r.layer,
            r.effective_from,
            r.effective_until,
            r.rule_id,
            r.regime,
            r.loosens,
        )
        for r in rows
        if r.kind == kind
    )
    return Table(name, said, columns, cells, empty="No such rule is in force for this fleet on this date.")


def read_loosened(con: duckdb.DuckDBPyConnection, context: Context) -> dict[str, list[Row]]:
    """The rules in force that ask less than the rule they replace, by vessel."""
    return group_rows(select_rows(con, LOOSE_SQL, day=context.as_of), "imo_number")


def list_loosened(by_vessel: dict[str, list[Row]], context: Context) -> Table:
    """Each such rule, and the vessels of the fleet that it binds. A rule that only takes others away has its anchor here."""
    rules: dict[str, tuple[Row, list[str]]] = {}
    for imo in (vessel.imo_number for vessel in context.vessels):
        for row in by_vessel.get(imo, []):
            rules.setdefault(row.rule_id, (row, []))[1].append(context.name_vessel(imo))
    columns = name_columns(
        f"title=Rule:anchor; loosens={words.say_capital(LESS)}:long; vessels=Binds:long; source=Source and clause:long; certainty=Certainty; "
        "in_force=Layer:page_text; layer=Layer:text twin; effective_from=From:date twin; effective_until=Until:date twin; rule_id=Rule:text twin; "
        "regime=Set of rules:text twin"
    )
    cells = tuple(
        (
            Anchor(words.say_capital(r.title), f"rule-{r.rule_id}" if r.kind == "drop" else f"less-{r.rule_id}"),
            r.loosens,
            words.say_list(names),
            say_source(r),
            say_certainty(r.certainty),
            say_layer(r),
            r.layer,
            r.effective_from,
            r.effective_until,
            r.rule_id,
            r.regime,
        )
        for r, names in sorted(rules.values(), key=lambda pair: pair[0].rule_no)
    )
    said = f"Rules in force of which each {LESS}"
    return Table("loosened", said, columns, cells, empty="No rule in force asks less than the one it replaces.")
