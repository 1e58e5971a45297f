"""Trials of a rule: units that it must stop or pass, made from its line in rule_cases.md and from its own keys.

In: a rule as a dict and its lines. Out: `Trial` objects: the records of one unit (or of one vessel's units), and whether the rule
must stop it. From the line: both sides of the boundary. From the keys, each time one thing of the stopped unit is changed: every
word of every list, one that is not in it, an empty register; what cures and what does not; what stands when a finding is closed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from pipeline.contract import tables
from tests.spec.read_rule_cases import Line, Records, Row

COLUMNS = {"agents": "agent", "forms": "form", "expelled_by": "expelled_by", "foam_kinds": "foam_kind", "linings": "lining",
    "space_categories": "space_category", "space_names": "space_name", "agent_details": "agent_detail",
    "shell_materials": "shell_material"}  # fmt: skip
WORDS = ("space_names", "agent_details", "shell_materials")
ASKED = {"components": "component", "defects": "defect", "severities": "severity", "kinds": "kind", "outcomes": "outcome",
    "tested_parts": "tested_part"}  # fmt: skip
# Numbers: what is just covered, and what is just not.
EDGES = {
    "charge_above": ("charge_kg", 0.1, 0),
    "charge_up_to": ("charge_kg", 0, 0.1),
    "cartridge_ml_up_to": ("cartridge_ml", 0, 1),
}
LATER = "2026-03-05"
NEUTRAL = "nothing of note"


@dataclass(frozen=True)
class Trial:
    """`is_stopped`: whether the rule must hold it against the unit (or the vessel)."""

    rule_id: str
    label: str
    records: Records
    is_stopped: bool


def make_trials(rule: dict, lines: list[Line]) -> Iterator[Trial]:
    for line in lines:
        label = "" if len(lines) == 1 else f"{lines.index(line) + 1} "
        yield Trial(line.rule_id, f"{label}passes", _cover(rule, line.passes), False)
        yield Trial(line.rule_id, f"{label}breaks", _cover(rule, line.breaks), True)
    if rule["kind"] in ("number", "drop"):
        return
    base = _cover(rule, lines[0].breaks)
    changes = [*_vary_scope(rule, base), *_vary_records(rule, base), *_vary_cures(rule, base), *_vary_duty(rule, base)]
    changes += _read_again(rule, base, lines[0].passes)
    for label, records, is_stopped in changes:
        yield Trial(rule["rule_id"], label, records, is_stopped)


def is_cold(trial: Trial, rule: dict) -> bool:
    """Whether the vessel meets frost."""
    return "air_temp_below_c" in rule and trial.label != "warm"


Change = tuple[str, Records, bool]


def _cover(rule: dict, records: Records) -> Records:
    """The records with whatever the rule covers, where they do not say it themselves."""
    covered: Row = {}
    for key, column in COLUMNS.items():
        if key in rule:
            covered[column] = _as_text(rule[key][0])
    for key, (column, inside, _) in EDGES.items():
        if key in rule:
            covered[column] = f"{rule[key] + inside:g}"
    units = [row for table, row in records if table == "unit"]
    if not units:
        return [("unit", covered), *records]
    merged = {key: value for row in units for key, value in row.items()}
    if rule["kind"] == "number":
        return [(table, {**covered, **row} if table == "unit" else row) for table, row in records]
    return [("unit", {**covered, **merged}), *(record for record in records if record[0] != "unit")]


def _as_text(word: str) -> str:
    """A word to look for, as a text that holds it."""
    return f"x{word[1:]}" if word.startswith("*") else word


def _with(records: Records, table: str, **values: str) -> Records:
    """Each record of that table with these values."""
    return [(name, {**row, **values} if name == table else row) for name, row in records]


def _vary_scope(rule: dict, base: Records) -> Iterator[Change]:
    said = dict(base[0][1])
    for key, column in COLUMNS.items():
        if key in rule:
            for word in rule[key]:
                yield f"{key} {word}", _with(base, "unit", **{column: _as_text(word)}), True
            yield f"{key} none", _with(base, "unit", **{column: ""}), False
            for other in _others(rule[key], key, column):
                yield f"{key} other {other}", _with(base, "unit", **{column: other}), False
    for phrase in rule.get("without_details", ()):
        yield f"without {phrase}", _with(base, "unit", agent_detail=f"{said.get('agent_detail', '')} {_as_text(phrase)}"), False
    for key, (column, inside, outside) in EDGES.items():
        if key in rule:
            yield f"{key} inside", _with(base, "unit", **{column: f"{rule[key] + inside:g}"}), True
            yield f"{key} outside", _with(base, "unit", **{column: f"{rule[key] + outside:g}"}), False
    if "air_temp_below_c" in rule:
        yield "warm", base, False
    if rule.get("tested_before"):
        yield "never tested", [record for record in base if record[0] != "service"], False


def _others(listed: list[str], key: str, column: str) -> list[str]:
    """Values that are not in the list: every other word of the contract, or a text in which the word stands inside of another."""
    if key in WORDS:
        return [NEUTRAL, *(f"x{word}" for word in listed if not word.startswith("*"))]
    return [word for word in tables()["unit"].column(column).words if word not in listed]


def _vary_records(rule: dict, base: Records) -> Iterator[Change]:
    """Grounds: each word of each list, and one outside; the words looked for; a closed finding."""
    table = rule.get("record")
    for key, column in ASKED.items():
        if key in rule and table != "unit":
            words = tables()[table].column(column).words
            for word in words:
                yield f"{key} {word}", _with(base, table, **{column: word}), word in rule[key]
    said = {"finding": "action", "inspection": "remarks"}.get(table or "")
    for word in rule.get("words", ()):
        yield f"says {word}", _with(base, table, **{said: f"{NEUTRAL}, {_as_text(word).upper()}"}), True
        if not word.startswith("*"):
            yield f"inside x{word}", _with(base, table, **{said: f"{NEUTRAL}, x{word}"}), False
    for phrase in rule.get("without_words", ()):
        yield f"says no {phrase}", _with(base, table, **{said: phrase}), False
        yield f"says {phrase} and yes", _with(base, table, **{said: f"{phrase}; {_as_text(rule['words'][0])}"}), True
    if table == "finding" or (rule["kind"] == "limit" and any(name == "finding" for name, _ in base)):
        yield "closed", _with(base, "finding", closed_on=LATER), rule.get("stands_when_closed", False)


def _vary_cures(rule: dict, base: Records) -> Iterator[Change]:
    """Limits and grounds: a later satisfactory service of each kind, and an unsatisfactory one."""
    if rule["kind"] not in ("limit", "ground"):
        return
    for kind in tables()["service"].column("kind").words:
        is_cured = kind in rule.get("cured_by", ())
        more = [
            ("service", {"serviced_on": LATER, "kind": kind, "outcome": outcome})
            for outcome in ("satisfactory", "unsatisfactory")
        ]
        yield f"later {kind}", [*base, more[0]], not is_cured
        yield f"later {kind} not passed", [*base, more[1]], True


def _read_again(rule: dict, base: Records, passes: Records) -> Iterator[Change]:
    """Limits: a later reading that passes counts, unless the worst on record does."""
    table, row = passes[-1]
    if rule["kind"] == "limit" and table in ("service", "finding"):
        day = {"service": "serviced_on", "finding": "found_on"}[table]
        yield "later reading that passes", [*base, (table, {**row, day: LATER})], rule.get("reading") == "worst"


def _vary_duty(rule: dict, base: Records) -> Iterator[Change]:
    """Duties: what satisfies each, and what does not; what calls for each."""
    if rule["kind"] != "duty":
        return
    for wanted in rule["satisfied_by"]:
        for part in tables()["service"].column("tested_part").words if wanted.get("tested_part") else ("",):
            is_done = part in ("", "both", wanted.get("tested_part"))
            yield f"done {wanted} {part}", [*base, _done(wanted, part, "satisfactory")], not is_done
            yield f"not passed {wanted} {part}", [*base, _done(wanted, part, "unsatisfactory")], True
    named = {wanted.get("kind") for wanted in rule["satisfied_by"] if wanted["record"] == "service"}
    if None not in named:
        for kind in tables()["service"].column("kind").words:
            if kind not in named:
                yield f"done {kind}", [*base, _done({"record": "service", "kind": kind}, "", "satisfactory")], True
    for cause in rule.get("triggered_by", ()):
        values = {"severity": "", **{key: value for key, value in cause.items() if key != "record"}}
        yield f"called for {values}", _with(base, "finding", **values), True


def _done(wanted: dict, part: str, outcome: str) -> tuple[str, Row]:
    if wanted["record"] == "inspection":
        return "inspection", {"inspected_on": "2026-05-10", "outcome": outcome}
    row = {"serviced_on": "2026-05-10", "kind": wanted.get("kind", "annual_service"), "outcome": outcome, "tested_part": part}
    return "service", row | ({"is_examination": "true"} if wanted.get("is_examination") else {})
