"""Reads fitness_cases.md and condemn_cases.md: one section a rule, with tables named by the head of their first column.

In: the text. Out: `Case` objects: canonical CSV rows, and the verdicts that must follow, no more and no fewer.
"""

import csv
import io
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

import duckdb

from pipeline.run import RunOptions, run
from tests.conftest import AS_OF, write_folder
from tests.property.canonical import NEEDED, complete_imo_number

DEFAULTS = {"form": "portable", "made_on": "2020-01-01", "in_service_on": "2020-01-01"}
RECORDS = ("vessel", "unit", "inspection", "service", "finding")
FIRST_IMO_PREFIX = 996001  # invented, apart from those of the other tests
Row = dict[str, str]


@dataclass(frozen=True)
class Case:
    title: str
    rows: dict[str, list[Row]]  # by table
    verdicts: list[tuple[str, ...]]  # unit, verdict, rule, seen on, value, limit; in any order

    @property
    def sorted_verdicts(self) -> list[tuple]:
        return sorted((*row[:4], *map(_digits, row[4:])) for row in self.verdicts)

    def read_verdicts(self, con: duckdb.DuckDBPyConnection) -> list[tuple]:
        """What the rules of fitness and of hard reasons hold against the units of this case, on whichever vessel they are."""
        units = sorted({row["unit_id"] for row in self.rows["unit"]})
        sql = """select unit_id, verdict, rule_id, seen_on::varchar, coalesce(value::varchar, ''), coalesce(limit_value::varchar, '')
            from figure.verdict join duty.provision using (rule_id)
            where list_contains(?, unit_id) and file in ('baseline/fitness.toml', 'baseline/condemn.toml')"""
        return sorted((*row[:4], *map(_digits, row[4:])) for row in con.execute(sql, [units]).fetchall())


def read_cases(text: str) -> list[Case]:
    return [_make_case(number, section) for number, section in enumerate(text.split("\n## ")[1:])]


def to_folder(cases: list[Case]) -> dict[str, str]:
    """All cases as one fleet: {file name: CSV}."""
    texts = {}
    for table in RECORDS:
        rows = [row for case in cases for row in case.rows[table]]
        stream = io.StringIO()
        columns = list(dict.fromkeys([*NEEDED[table], *(key for row in rows for key in row)]))
        writer = csv.DictWriter(stream, columns, restval="", lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
        texts[f"{table}.csv"] = stream.getvalue()
    return texts


@contextmanager
def judge_cases(cases: list[Case], folder: Path) -> Iterator[duckdb.DuckDBPyConnection]:
    """Run the pipeline on all cases as one fleet."""
    write_folder(folder / "exports", to_folder(cases))
    summary = run(RunOptions((folder / "exports",), folder / "store", folder / "db.duckdb", AS_OF))
    with duckdb.connect(str(folder / "db.duckdb"), read_only=True) as con:
        held = sum(con.execute(f"select count(*) from record.{table}").fetchone()[0] for table in RECORDS)
        assert held == sum(len(rows) for case in cases for rows in case.rows.values()), summary
        yield con


def rules_of(file: str) -> set[str]:
    """The names of the rules of one rule file."""
    content = tomllib.loads(files("pipeline.duties").joinpath(file).read_text(encoding="utf-8"))
    return {rule["rule_id"] for kind in ("limit", "ground") for rule in content.get(kind, [])}


def _digits(number: str) -> str:
    """A number as the tables write it: six decimals at most, none that are noughts."""
    return f"{float(number):.6f}".rstrip("0").rstrip(".") if number else ""


def _make_case(number: int, section: str) -> Case:
    title, *lines = section.splitlines()
    tables = _read_tables(title, lines)
    vessels = {row["vessel"] for row in tables["vessel"]} | {"A"}
    rows: dict[str, list[Row]] = {table: [] for table in RECORDS}
    stands = {row["vessel"]: row for row in tables["vessel"]}
    for letter in sorted(vessels):
        rows["vessel"].append({**_bare(stands.get(letter, {}), "vessel"), "imo_number": _name_vessel(number, letter)})
    for table in RECORDS[1:]:
        for record in tables[table]:
            vessel = _name_vessel(number, record.get("vessel") or "A")
            named = {"unit_id": _name_unit(number, record[table]), "imo_number": vessel}
            rows[table].append({**(DEFAULTS if table == "unit" else {}), **_bare(record, table, "vessel"), **named})
    verdicts = [(_name_unit(number, row["verdict"]), *list(row.values())[1:]) for row in tables["verdict"]]
    return Case(title, rows, verdicts)


def _bare(record: Row, *without: str) -> Row:
    return {key: cell for key, cell in record.items() if key not in without and cell != ""}


def _name_vessel(number: int, letter: str) -> str:
    return complete_imo_number(FIRST_IMO_PREFIX + 10 * number + ord(letter) - ord("A"))


def _name_unit(number: int, name: str) -> str:
    return f"S{number:02d}-{name}"


def _read_tables(title: str, lines: list[str]) -> dict[str, list[Row]]:
    """Markdown tables -> records by table; an unknown table name, or a section without units, is an error."""
    tables: dict[str, list[Row]] = {name: [] for name in (*RECORDS, "verdict")}
    heads: list[str] = []
    for line in lines:
        if not line.startswith("|"):
            heads = []
            continue
        cells = [cell.strip() for cell in line.strip().strip("|").split("|")]
        if not heads:
            heads = cells
            if heads[0] not in tables:
                raise ValueError(f"{title}: no such table: {line}")
        elif not line.startswith("|---"):
            tables[heads[0]].append(dict(zip(heads, cells, strict=True)))
    if not tables["unit"]:
        raise ValueError(f"{title}: no unit")
    return tables
