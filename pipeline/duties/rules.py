"""The rule book. In: one TOML a regime, checked key by key. Out: duty.rule and duty.satisfied_by.

A rule says what is due how often, from which basis, and what satisfies it; each carries source, clause and certainty.
"""

from __future__ import annotations

import hashlib
import tomllib
from importlib.resources import files

import duckdb

from pipeline.contract import tables
from pipeline.errors import UserError

REGIMES = ("imo_baseline.toml",)
REGIME_KEYS = {"regime", "layer", "breach_label", "about", "rule"}
RULE_KEYS = {
    "rule_id": str, "duty": str, "title": str, "counts": str, "forms": list, "interval_months": int, "first_basis": str,
    "satisfied_by": list, "in_any": bool, "source": str, "clause": str, "certainty": str, "about": str,
}  # fmt: skip
OPTIONAL_KEYS = {"forms"}
CHOICES = {
    "counts": ("unit", "group"),
    "first_basis": ("service_start", "made_on", "earliest_made_on"),
    "certainty": ("P", "P2", "C", "M"),
}


def rule_book_hash() -> str:
    """Changes whenever a rule does."""
    return hashlib.sha256(b"\0".join(_regime_bytes(name) for name in REGIMES)).hexdigest()[:16]


def read_regime(name: str, data: bytes) -> dict:
    """Parse and check one regime. Raises UserError bad-rule naming file and key."""
    try:
        regime = tomllib.loads(data.decode("utf-8"))
    except ValueError as error:
        raise UserError("bad-rule", file=name, key="(whole file)", why=f"is not TOML: {error}") from error
    for key in regime:
        if key not in REGIME_KEYS:
            raise UserError("bad-rule", file=name, key=key, why="is not known")
    seen: set[str] = set()
    for rule in regime.get("rule", []):
        _check_rule(name, rule, seen)
    return regime


def load_rules(con: duckdb.DuckDBPyConnection) -> None:
    """Fill duty.rule and duty.satisfied_by from the regimes, and create the macros of macros.sql."""
    con.execute(files("pipeline.duties").joinpath("macros.sql").read_text(encoding="utf-8"))
    con.execute(files("pipeline.duties").joinpath("rules.sql").read_text(encoding="utf-8"))
    for name in REGIMES:
        regime = read_regime(name, _regime_bytes(name))
        for rule in regime["rule"]:
            con.execute(
                "insert into duty.rule values (?, ?, ?, ?, ?, ?, ?, 'done', ?, ?, ?, ?, ?, ?, ?)",
                [rule[key] for key in ("rule_id", "duty", "title", "counts")]
                + [rule.get("forms"), rule["interval_months"], rule["first_basis"], rule["in_any"]]
                + [rule["source"], rule["clause"], rule["certainty"], regime["breach_label"], regime["regime"], rule["about"]],
            )
            for entry in rule["satisfied_by"]:
                con.execute(
                    "insert into duty.satisfied_by values (?, ?, ?)", [rule["rule_id"], entry["record"], entry.get("kind")]
                )


def _regime_bytes(name: str) -> bytes:
    return files("pipeline.duties").joinpath(name).read_bytes()


def _check_rule(name: str, rule: dict, seen: set[str]) -> None:
    where = rule.get("rule_id", f"rule[{len(seen)}]")
    for key, value in rule.items():
        if key not in RULE_KEYS:
            raise UserError("bad-rule", file=name, key=f"{where}.{key}", why="is not known")
        if not isinstance(value, RULE_KEYS[key]):
            raise UserError("bad-rule", file=name, key=f"{where}.{key}", why=f"{value!r} is not {RULE_KEYS[key].__name__}")
    for key in RULE_KEYS.keys() - OPTIONAL_KEYS - rule.keys():
        raise UserError("bad-rule", file=name, key=f"{where}.{key}", why="is missing")
    for key, allowed in CHOICES.items():
        if rule[key] not in allowed:
            raise UserError("bad-rule", file=name, key=f"{where}.{key}", why=f"must be one of {', '.join(allowed)}")
    if rule["interval_months"] < 1:
        raise UserError("bad-rule", file=name, key=f"{where}.interval_months", why="must be 1 or more")
    if where in seen:
        raise UserError("bad-rule", file=name, key=where, why="stands there twice")
    for entry in rule["satisfied_by"]:
        _check_satisfied_by(name, where, entry)
    seen.add(where)


def _check_satisfied_by(name: str, where: str, entry: dict) -> None:
    kinds = tables()["service"].column("kind").words
    if entry.get("record") not in ("inspection", "service") or entry.keys() - {"record", "kind"}:
        raise UserError("bad-rule", file=name, key=f"{where}.satisfied_by", why="takes record (inspection, service) and kind")
    if "kind" in entry and (entry["record"] != "service" or entry["kind"] not in kinds):
        raise UserError("bad-rule", file=name, key=f"{where}.satisfied_by.kind", why=f"must be one of {', '.join(kinds)}")
