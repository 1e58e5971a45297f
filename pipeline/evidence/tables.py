"""The tables of a pack. In: a database whose subject is marked. Out: each as CSV and Parquet, and what differs between two sets."""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Mapping
from datetime import date
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import NamedTuple

import duckdb

from pipeline.evidence.subject import run_file

PROVENANCE = "provenance"


class Span(NamedTuple):
    """What a pack speaks of: a vessel, the day of its state, and the first day of the period that is told in full."""

    imo_number: str
    as_of: date
    from_on: date


class Difference(NamedTuple):
    """A row that only one of two sets of tables has."""

    table: str
    side: str
    row: tuple


@cache
def pack_tables() -> tuple[dict, ...]:
    """Read tables.toml: name, about and where of each."""
    return tuple(tomllib.loads(files("pipeline.evidence").joinpath("tables.toml").read_text(encoding="utf-8"))["table"])


def export_tables(con: duckdb.DuckDBPyConnection, span: Span, folder: Path) -> None:
    """Write <schema>.<name>.csv and .parquet of every table, and those of the provenance, rows in order of their cells."""
    folder.mkdir(parents=True, exist_ok=True)
    for table in pack_tables():
        schema, name = table["name"].split(".")
        parameters = {key: getattr(span, key) for key in Span._fields if f"${key}" in table["where"]}
        columns = f"* exclude ({', '.join(table['without'])})" if "without" in table else "*"
        con.execute(
            f'create or replace temp table pack_table as select {columns} from {schema}."{name}" where {table["where"]} order by all',
            parameters,
        )
        write_table(con, folder / table["name"])
    run_file(con, "provenance.sql", span._asdict())
    con.execute("create or replace temp table pack_table as from pack_provenance order by all")
    write_table(con, folder / PROVENANCE)


def write_table(con: duckdb.DuckDBPyConnection, stem: Path) -> None:
    """pack_table in both forms."""
    for form, options in (("csv", "format csv, header"), ("parquet", "format parquet")):
        path = str(stem.with_name(f"{stem.name}.{form}")).replace("'", "''")
        con.execute(f"copy (from pack_table order by rowid) to '{path}' ({options})")


def table_names() -> tuple[str, ...]:
    return (*(table["name"] for table in pack_tables()), PROVENANCE)


def compare_tables(
    enclosed: Path, rebuilt: Path, renamed: Mapping[str, str] | None = None, blind: frozenset[str] = frozenset()
) -> list[Difference]:
    """Rows that only one of two folders of tables has, in either form; a missing file counts as one.

    `renamed` are file_ids of the first folder with those that the second has in their place, `blind` columns that are
    left aside, of one table where its name stands before them.
    """
    con, found = duckdb.connect(), []
    try:
        for name in table_names():
            for form in ("parquet", "csv"):
                ours, theirs = enclosed / f"{name}.{form}", rebuilt / f"{name}.{form}"
                if not ours.is_file():
                    found.append(Difference(f"{name}.{form}", "missing", ()))
                elif renamed or ours.read_bytes() != theirs.read_bytes():
                    found += compare_table(con, f"{name}.{form}", ours, theirs, renamed or {}, blind)
    finally:
        con.close()
    return found


def compare_table(
    con, label: str, enclosed: Path, rebuilt: Path, renamed: Mapping[str, str], blind: frozenset[str]
) -> list[Difference]:
    """Rows of one table that only one side has."""
    try:
        hidden = blind | {name.removeprefix(f"{enclosed.stem}.") for name in blind if name.startswith(f"{enclosed.stem}.")}
        ours, theirs = read_rows(con, enclosed, renamed, hidden), read_rows(con, rebuilt, {}, hidden)
    except duckdb.Error as error:
        return [Difference(label, "unreadable", (str(error).splitlines()[0],))]
    return [Difference(label, "enclosed", row) for row in (ours - theirs).elements()] + [
        Difference(label, "rebuilt", row) for row in (theirs - ours).elements()
    ]


def read_rows(con, path: Path, renamed: Mapping[str, str], blind: frozenset[str]) -> Counter:
    """The rows with the head as the first, as text, file_ids renamed."""
    text = str(path).replace("'", "''")
    read = f"read_parquet('{text}')" if path.suffix == ".parquet" else _csv_sql(path, text)
    cursor = con.execute(f"select columns(*)::varchar from {read}")
    head = tuple(column[0] for column in cursor.description)
    seen = [number for number, name in enumerate(head) if name not in blind]
    rows = [tuple(renamed.get(row[number], row[number]) for number in seen) for row in cursor.fetchall()]
    return Counter([("head", *head)]) + Counter(rows)


def _csv_sql(path: Path, text: str) -> str:
    """A CSV of ours: every column text, nothing guessed."""
    with open(path, encoding="utf-8", newline="") as stream:
        head = stream.readline().rstrip("\r\n").split(",")
    columns = "{" + ", ".join(f"'{name}': 'VARCHAR'" for name in head) + "}"
    return (
        f"read_csv('{text}', columns = {columns}, auto_detect = false, header = true, delim = ',', quote = '\"', escape = '\"')"
    )
