"""Reads rule_cases.md: one line a rule of the shipped rule book, with a unit that it passes and one that it stops.

In: the text. Out: `Line` objects. A cell of `given`, `passes` and `breaks` names records, parted by semicolons:
    unit KEY=VALUE ... | service KIND KEY=VALUE ... | finding COMPONENT DEFECT [SEVERITY] KEY=VALUE ... 'action'
    look OUTCOME 'remark' | vessel KEY=VALUE ... | 12 unit KEY=VALUE ... | spare AGENT KEY=VALUE ...
Underscores stand for blanks in the value of a text. `on=DATE` is the day of a record, else 2026-03-01.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

Row = dict[str, str]
Records = list[tuple[str, Row]]
DAY = "2026-03-01"
TABLES = {"unit": "unit", "service": "service", "finding": "finding", "look": "inspection", "vessel": "vessel", "spare": "spare"}
DATED = {"service": "serviced_on", "finding": "found_on", "look": "inspected_on", "spare": "counted_on"}
LISTED = {
    "service": ("kind",),
    "finding": ("component", "defect", "severity"),
    "look": ("outcome",),
    "spare": ("agent",),
    "unit": (),
    "vessel": (),
}
SAID = {"finding": "action", "look": "remarks"}
TEXTS = ("agent_detail", "shell_material", "space_name")
NOT_SAID = ("rule_id", "title", "source", "clause", "certainty", "about")


@dataclass(frozen=True)
class Line:
    """One line of a table: what the rule says in full, and the records beside the boundary."""

    rule_id: str
    says: str
    passes: Records
    breaks: Records
    source: str


def read_lines(text: str) -> list[Line]:
    lines = [line for line in text.splitlines() if line.startswith("| ") and not line.startswith(("| rule |", "| --"))]
    return [_read_line(line) for line in lines]


def render(rule: dict) -> str:
    """All that a rule asks, in one line: every key but its name, title, texts and source."""
    return "; ".join(f"{key}: {_render_value(value)}" for key, value in sorted(rule.items()) if key not in NOT_SAID)


def _render_value(value: object) -> str:
    if isinstance(value, list):
        return " + ".join(map(_render_value, value))
    if isinstance(value, dict):
        return " ".join(str(part) if key != "is_examination" else "examination" for key, part in value.items())
    return str(value).lower() if isinstance(value, bool) else f"{value:g}" if isinstance(value, float) else str(value)


def _read_line(line: str) -> Line:
    rule_id, says, given, passes, breaks, source = (cell.strip() for cell in line.strip().strip("|").split("|"))
    base = _read_records(given)
    return Line(rule_id, says, base + _read_records(passes), base + _read_records(breaks), source)


def _read_records(cell: str) -> Records:
    return [record for part in cell.split(";") if part.strip() for record in _read_record(part.strip())]


def _read_record(part: str) -> Records:
    times, part = re.fullmatch(r"(?:(\d+) )?(.*)", part).groups()
    part, *said = part.split("'")
    table, *tokens = part.split()
    row = {SAID[table]: said[0]} if said else {}
    places = iter(LISTED[table])
    for token in tokens:
        key, is_pair, value = token.partition("=")
        row[DATED[table] if key == "on" else key if is_pair else next(places)] = value if is_pair else key
    row = {key: value.replace("_", " ") if key in TEXTS else value for key, value in row.items()}
    if table in DATED:
        row.setdefault(DATED[table], DAY)
    return [(TABLES[table], dict(row)) for _ in range(int(times or 1))]
