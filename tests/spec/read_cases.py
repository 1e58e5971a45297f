"""Reads lateness_cases.md: titles, 'judged on' lines and tables named by the head of their first column.

In: the text. Out: `Case` objects, each a Fleet (letters made into valid vessel numbers, unit names made unique) with
the month rows and now rows that must follow from it.
"""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from pathlib import Path

from tests.property.canonical import Fleet, Row, complete_imo_number
from tests.property.lateness import MonthKey, MonthRow, NowRow

CASES_FILE = Path(__file__).with_name("lateness_cases.md")
FIRST_IMO_PREFIX = 995001  # invented, apart from those of the random fleets
NOTHING = "-"
TABLES = ("vessel", "unit", "inspection", "service", "month", "now")


@dataclass(frozen=True)
class Case:
    title: str
    fleet: Fleet
    months: dict[MonthKey, MonthRow | None]  # None: there must be no such row
    now: dict[tuple[str, str], list[NowRow]]  # by vessel and duty; an empty list: nothing overdue


def read_cases(text: str) -> list[Case]:
    return [make_case(number, section) for number, section in enumerate(text.split("\n## ")[1:])]


def make_case(number: int, section: str) -> Case:
    title, *lines = section.splitlines()
    tables = read_tables(lines)
    as_of = next(date.fromisoformat(line.split()[-1]) for line in lines if line.startswith("judged on "))
    rows = {table: [make_row(number, table, record) for record in tables[table]] for table in TABLES[:4]}
    months: dict[MonthKey, MonthRow | None] = {}
    for record in tables["month"]:
        month_end, vessel, duty, *counts = record.values()
        key = (date.fromisoformat(month_end), name_vessel(number, vessel), duty)
        if key in months:
            raise ValueError(f"{title}: two rows for {record}")
        months[key] = None if NOTHING in counts else MonthRow(*map(int, counts))
    now: dict[tuple[str, str], list[NowRow]] = {}
    for record in tables["now"]:
        units, vessel, duty, basis_on, due_on, days = record.values()
        key = (name_vessel(number, vessel), duty)
        now.setdefault(key, [])
        if days != NOTHING:
            unit_ids = tuple(sorted(name_unit(number, unit) for unit in units.split()))
            dates = date.fromisoformat(basis_on), date.fromisoformat(due_on)
            now[key].append(NowRow(*key, unit_ids, *dates, int(days)))
    return Case(title, Fleet(as_of, **rows), months, now)


def read_tables(lines: list[str]) -> dict[str, list[dict[str, str]]]:
    """Markdown tables -> records by table; an unknown table name is an error, not a table skipped."""
    tables: dict[str, list[dict[str, str]]] = {name: [] for name in TABLES}
    heads: list[str] = []
    for line in lines:
        if not line.startswith("|"):
            heads = []
            continue
        cells = [cell.strip() for cell in line.strip().strip("|").split("|")]
        if not heads:
            heads = cells
            if heads[0] not in TABLES:
                raise ValueError(f"no such table: {line}")
        elif not line.startswith("|---"):
            tables[heads[0]].append(dict(zip(heads, cells, strict=True)))
    return tables


def make_row(number: int, table: str, record: dict[str, str]) -> Row:
    row: Row = {column: make_value(column, cell) for column, cell in record.items() if column not in TABLES}
    row["imo_number"] = name_vessel(number, record["vessel"])
    if table != "vessel":
        row["unit_id"] = name_unit(number, record[table])
    return row


def make_value(column: str, cell: str) -> object:
    if cell == "":
        return None
    if column.endswith(("_on", "_from", "_to")):
        return date.fromisoformat(cell)
    if column.startswith("charge_"):
        return Decimal(cell)
    return cell == "true" if column.startswith("is_") else cell


def name_vessel(number: int, letter: str) -> str:
    return complete_imo_number(FIRST_IMO_PREFIX + 10 * number + ord(letter) - ord("A"))


def name_unit(number: int, name: str) -> str:
    return f"C{number:02d}{name}"
