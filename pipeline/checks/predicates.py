"""What is checked of each table. In: the contract and checks.toml. Out: `Check`s, each one SQL predicate.

A predicate is true for a good row; null means that it has nothing to say. The same text feeds the report and the
quarantine, so the two can't disagree on what was asked.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from pipeline.contract import Column, Table

UNREADABLE = ("impossible-date", "unknown-word", "not-a-number", "not-a-boolean")


@dataclass(frozen=True)
class Check:
    """One rule on one column of one table; `value_sql` gives the offending cell as text."""

    table: str
    rule: str
    column: str
    title: str
    predicate: str
    value_sql: str
    reason: str

    @property
    def failing_sql(self) -> str:
        """Condition that holds for the rows this check finds bad."""
        return f"not coalesce(({self.predicate}), true)"


@cache
def rules() -> dict[str, dict]:
    """Every rule by its slug, as written in checks.toml."""
    return tomllib.loads(files("pipeline.checks").joinpath("checks.toml").read_text(encoding="utf-8"))


def table_checks(table: Table) -> list[Check]:
    """All checks of one table, in a stable order."""
    checks = []
    for slug, rule in rules().items():
        if rule.get("applies") == "reader":
            continue
        if "tables" in rule:
            if table.name in rule["tables"]:
                checks.append(_table_check(table, slug, rule))
            continue
        checks += [_column_check(table, column, slug, rule) for column in table.columns if _applies(rule, column)]
    return checks


def reader_reason(slug: str, value: str) -> str:
    """The sentence for a record that is no row."""
    rule = rules()[slug]
    return f"{rule['reason'].format(value=value)} {rule['remedy']}"


def _applies(rule: dict, column: Column) -> bool:
    """Whether the rule's kind of contract column is this one."""
    return {
        "required": column.required,
        "date": column.type == "date",
        "word": column.type == "word",
        "number": column.type in ("integer", "decimal"),
        "boolean": column.type == "boolean",
        "range": column.low is not None,
        "pattern": column.pattern is not None,
        "event": column.is_event,
    }[rule["applies"]]


def _column_check(table: Table, column: Column, slug: str, rule: dict) -> Check:
    fills = {
        "column": column.name,
        "low": _plain(column.low),
        "high": _plain(column.high),
        "pattern": column.pattern,
        "words": ", ".join(column.words),
    }
    value_sql = f"{column.name}::varchar"
    if slug in UNREADABLE:
        value_sql = f"list_filter(problems, lambda p: p.column_name = '{column.name}')[1].value"
    return Check(table.name, slug, column.name, rule["title"], rule["predicate"].format(**fills), value_sql, _reason(rule, fills))


def _table_check(table: Table, slug: str, rule: dict) -> Check:
    fills = {"event_on": table.event_on, "key": ", ".join(table.key)}
    column = rule["column"].format(**fills)
    value_sql = f"concat_ws(', ', {column})" if "," in column else f"{column}::varchar"
    return Check(table.name, slug, column, rule["title"], rule["predicate"].format(**fills), value_sql, _reason(rule, fills))


def _reason(rule: dict, fills: dict) -> str:
    """The sentence with all but the cell filled in; `{value}` stays for SQL to put in."""
    text = f"{rule['reason']} {rule['remedy']}".replace("{value!r}", "'{value}'").replace("{value}", "\0")
    return text.format(**fills).replace("\0", "{value}")


def _plain(number: float | None) -> str:
    return "" if number is None else f"{number:g}" if abs(number) < 1e6 else str(int(number))
