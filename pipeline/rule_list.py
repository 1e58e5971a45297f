"""The rules in force, to read. In: a database, and a vessel or none. Out: lines: what each rule asks, its source, how sure it is."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

from pipeline.duties.rule_keys import schema
from pipeline.errors import UserError
from pipeline.explain import CAUTION
from pipeline.statements import read_sql
from pipeline.warehouse.build import read_database

CERTAINTY = {
    "P": "published text read",
    "P2": "read in a page that quotes it",
    "C": "common practice, no source",
    "M": "from memory of the published text: verify against your own copy",
}


def list_rules(db: Path, imo_number: str | None) -> list[str]:
    """Every rule that binds the vessel (None: any of the fleet) on the day of the report, layer by layer.

    Raises UserError no-database, unknown-vessel-asked.
    """
    with read_database(db) as con:
        as_of = con.execute("select as_of from intake.run").fetchone()[0]
        whose = "the fleet" if imo_number is None else _name_vessel(con, db, imo_number)
        sql = read_sql("pipeline", "rule_list")
        rows = con.execute(sql, {"imo_number": imo_number, "as_of": as_of}).fetchall()
        idle = con.execute(_IDLE_SQL).fetchall()
    lines, last = [f"Rules in force on {as_of} for {whose}"], None
    for rule, duty, detail, units, vessels, yields_to in rows:
        rule, duty, detail = json.loads(rule), json.loads(duty), json.loads(detail or "{}")
        if rule["regime_slug"] != last:
            last = rule["regime_slug"]
            lines += [
                "",
                f"{rule['regime']} ({rule['layer']} layer; a breach is labelled '{rule['breach_label']}'; {rule['file']})",
            ]
        lines += _say_rule(rule, duty, detail, units, vessels, yields_to)
    if idle:
        lines += ["", "On hand, binding no vessel of this fleet: " + "; ".join(f"{name} ({file})" for name, file in idle)]
    marks = "; ".join(f"[{mark}] {meaning}" for mark, meaning in CERTAINTY.items())
    return [*lines, "", f"Certainty: {marks}.", CAUTION]


_IDLE_SQL = """
    select distinct regime, file from duty.provision where regime_slug not in (
        select regime_slug from duty.binding as binding join record.vessel as vessel
        on binding.flag is null or binding.flag = vessel.flag) order by file"""


def _name_vessel(con, db: Path, imo_number: str) -> str:
    row = con.execute("select vessel_name, flag from record.vessel where imo_number = ?", [imo_number]).fetchone()
    if row is None:
        raise UserError("unknown-vessel-asked", imo_number=imo_number, db=db)
    return f"{row[0] or 'unnamed'} ({imo_number}), flag {row[1] or 'not stated'}"


def _say_rule(rule: dict, duty: dict, detail: dict, units: int, vessels: int, yields_to: str | None) -> list[str]:
    what = _say_duty(duty) if rule["kind"] == "duty" else SAY[rule["kind"]](detail)
    covers = f"{vessels} vessels" if rule["kind"] == "number" else "1 unit" if units == 1 else f"{units:,} units"
    if vessels == 1 and rule["kind"] == "number":
        covers = "1 vessel"
    lines = [
        f"  {rule['rule_id']}: {rule['title']}: {what}{_say_scope(rule)}",
        f"      {rule['source']}, {rule['clause']} [{rule['certainty']}]"
        + ("" if rule["kind"] == "drop" else f"; covers {covers} that day"),
    ]
    if dates := [f"{word} {rule[key]}" for key, word in (("effective_from", "from"), ("effective_until", "until")) if rule[key]]:
        lines.append(f"      in force {' '.join(dates)}")
    if rule["loosens"]:
        lines.append(f"      ASKS LESS than the rule it replaces: {rule['loosens']}")
    if yields_to:
        lines.append(f"      gives way, where that covers a unit, to {yields_to}")
    return lines


def _say_duty(duty: dict) -> str:
    months = duty.get("interval_months")
    if months is None:
        return "it is left no unit that day: others took its place, or are nowhere laxer"
    every = "at once" if months == 0 else "every month" if months == 1 else f"every {months} months"
    grace = f", {duty['grace_months']} months of grace" if duty.get("grace_months") else ""
    runs = ", from the day it was due" if duty.get("anchor") == "due" else ""
    return f"{every}{grace}{runs}" + (", one of each group" if duty["counts"] == "group" else "")


def _say_limit(limit: dict) -> str:
    register = limit["limit_from"]
    value = f"{limit['limit_value']:g} {limit['unit']}" if register is None else f"the register's {register}"
    last = "" if limit["reading"] != "worst" else ", the worst reading on record"
    return _plain(f"{limit['measure']} {limit['breach']} {value}{last}{_say_cure(limit)} -> {limit['verdict']}")


def _say_ground(ground: dict) -> str:
    listed = [ground[key] for key in ("components", "defects", "severities", "kinds", "outcomes", "tested_parts") if ground[key]]
    what = " ".join(
        ["any unit that it covers" if ground["record"] == "unit" else ground["record"], *("/".join(words) for words in listed)]
    )
    for key, said in (("words", "whose text holds"), ("without_words", "whose text does not hold")):
        what += f", {said} {' or '.join(ground[key])}" if ground[key] else ""
    return _plain(f"{what}{_say_cure(ground)}{_LATER_LOOK.get(ground['record'], '')} -> {ground['verdict']}")


# What takes a reason away without being named in the rule (reason_record.sql).
_LATER_LOOK = {"inspection": ", or a later satisfactory inspection once the findings of that day are closed"}


def _say_cure(rule: dict) -> str:
    closed = ", also once it is closed" if rule["stands_when_closed"] else ""
    return closed + (f", until a later {' or '.join(rule['cured_by'])}" if rule["cured_by"] else "")


def _say_placement(placement: dict) -> str:
    expected = placement["colour_zone_expected"]
    return f"a colour zone other than {_plain(expected)}" if expected else f"{placement['breach']} where it stands"


def _say_number(number: dict) -> str:
    if number["least"] is not None:
        return f"{_plain(number['measure'])}: {number['least']} at least"
    share = f" and {number['share']:.0%} of the rest" if number["share"] else ""
    most = "" if number["cap"] is None else f", {number['cap']} at most"
    return _plain(f"{number['measure']}: for the first {number['first']}{share}{most}, counted by {number['by']}")


def _plain(text: str) -> str:
    return text.replace("_", " ")


SAY: dict[str, Callable[[dict], str]] = {
    "limit": _say_limit,
    "ground": _say_ground,
    "placement": _say_placement,
    "number": _say_number,
    "drop": lambda _: "takes rules away",
}


def _say_scope(rule: dict) -> str:
    said = []
    for key in schema()["scope"]:
        value = rule.get(key)
        if value is not None:
            said.append(f"{key.replace('_', ' ')} {', '.join(value) if isinstance(value, list) else value}")
    return f" ({'; '.join(said)})" if said else ""
