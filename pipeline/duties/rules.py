"""The rule book into the database. In: a `RuleBook`. Out: duty.provision and a table for each kind of rule.

A rule says what is due how often, or what makes a unit unfit; each carries source, clause and certainty.
"""

from __future__ import annotations

import json

import duckdb

from pipeline.duties.rule_book import RuleBook, say_loosening
from pipeline.duties.rule_keys import schema
from pipeline.statements import DUCKDB, Statements, read_sql

SQL_TYPES = {
    "text": "varchar", "slug": "varchar", "word": "varchar", "measure": "varchar", "texts": "varchar[]", "slugs": "varchar[]",
    "words": "varchar[]", "imo_numbers": "varchar[]", "integer": "integer", "number": "double", "date": "date", "boolean": "boolean",
}  # fmt: skip
ABOUT = ("kind", "regime", "regime_slug", "layer", "flag", "breach_label", "loosens", "file", "rule_no")


def load_rules(con: duckdb.DuckDBPyConnection, book: RuleBook, statements: Statements = DUCKDB) -> None:
    """Fill duty.provision (every rule), duty.binding, duty.replaced, and duty.rule, limit, ground, placement and number."""
    for name in ("macros", "rules"):
        statements.run(con, read_sql("pipeline.duties", name))
    _fill(con, "binding", [
        {"regime_slug": bound.regime.slug, "rank": bound.rank, "flag": bound.flag, "vessels": list(bound.vessels) if bound.vessels else None}
        for bound in book.bindings
    ])  # fmt: skip
    rows = [_describe(regime, rule, book, number) for number, (regime, rule) in enumerate(book.rules)]
    common = {key: spec for key, spec in (schema()["common"] | schema()["scope"]).items() if key != "replaces"}
    _create(con, "provision", {name: "integer" if name == "rule_no" else "varchar" for name in ABOUT} | _types(common))
    _fill(con, "provision", rows)
    for kind in ("limit", "ground", "placement", "number"):
        _create(con, kind, {"rule_id": "varchar"} | _types(schema()[kind]))
        _fill(con, kind, [row for row in rows if row["kind"] == kind])
    _fill(con, "replaced", [
        {"rule_id": row["rule_id"], "of_rule_id": other} for row in rows for key in ("replaces", "drops") for other in row.get(key, ())
    ])  # fmt: skip
    _load_duties(con, [row for row in rows if row["kind"] == "duty"])


def _describe(regime, rule: dict, book: RuleBook, number: int) -> dict:
    head = regime.head
    return {
        **rule,
        "regime": head["regime"],
        "regime_slug": regime.slug,
        "layer": head["layer"],
        "flag": head.get("flag"),
        "breach_label": head["breach_label"],
        "loosens": say_loosening(rule, book),
        "file": regime.file,
        "rule_no": number,
        "rank": {"baseline": 0, "standard": 1, "flag": 2, "company": 3}[head["layer"]],
    }


def _load_duties(con: duckdb.DuckDBPyConnection, rows: list[dict]) -> None:
    _fill(con, "rule", [{"anchor": "done", **row} for row in rows])
    for key in ("satisfied_by", "triggered_by"):
        _fill(con, key, [{"rule_id": row["rule_id"], **entry} for row in rows for entry in row.get(key, ())])


def _types(specs: dict[str, dict]) -> dict[str, str]:
    return {key: SQL_TYPES[spec["type"]] for key, spec in specs.items() if spec["type"] in SQL_TYPES}


def _create(con: duckdb.DuckDBPyConnection, name: str, columns: dict[str, str]) -> None:
    listed = ", ".join(f'"{column}" {kind}' for column, kind in columns.items())
    con.execute(f"create table duty.{name} ({listed})")


def _fill(con: duckdb.DuckDBPyConnection, name: str, rows: list[dict]) -> None:
    """Insert dicts by the table's own columns, in one statement; a key that it lacks belongs to another table."""
    columns = con.execute(f"select column_name, column_type from (describe duty.{name})").fetchall()
    kinds = {column: [kind.removesuffix("[]")] if kind.endswith("[]") else kind for column, kind in columns}
    written = [{column: row[column] for column in kinds if row.get(column) is not None} for row in rows]
    con.execute(
        f"insert into duty.{name} by name select unnest(made) from (select unnest(from_json($rows::json, $kinds)) as made)",
        {"rows": json.dumps(written, default=str), "kinds": json.dumps([kinds])},
    )
