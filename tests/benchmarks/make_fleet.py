"""A large invented fleet as canonical CSVs, fast. In: a folder and a number of vessels. Out: `exports`, and `month` to be added to it.

Twenty vessels are simulated (tests/simulator); DuckDB stamps out as many as are asked for: other numbers, all days of a vessel some days
earlier, one look in 200 left out, so that no two vessels are alike. An office of a hundred vessels sends a file a table and year. One row
in a thousand comes twice, one in a thousand can't be read. Writing a thousand vessels takes about twenty seconds.
"""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

import duckdb

from tests.simulator.write_canonical import write_canonical

AS_OF = "2026-10-31"
MONTH_FROM = "2026-10-01"
TEMPLATE_VESSELS, OFFICE_VESSELS, UNITS, YEARS = 20, 100, 60, 10
EVENT_ON = {"inspection": "inspected_on", "service": "serviced_on", "finding": "greatest(found_on, coalesce(closed_on, ''))"}
# What a blemished row says instead, in turn: no day, no word, no vessel.
BLEMISHES = {
    "inspection": {"inspected_on": "2025-02-30", "outcome": "so-so", "imo_number": "0000000"},
    "service": {"serviced_on": "31.04.2025", "outcome": "so-so", "imo_number": "0000000"},
    "finding": {"found_on": "2025-02-30", "defect": "worn", "imo_number": "0000000"},
}
MACROS = """
create macro imo(first_six) as lpad(first_six::varchar, 6, '0') || list_sum(list_transform(range(6),
    lambda place: substr(lpad(first_six::varchar, 6, '0'), place::int + 1, 1)::int * (7 - place)))::int % 10;
create macro earlier(day, days) as case when day is null then null else (day::date - days::int)::varchar end;
create macro luck(a, b, c) as hash(a, b, c) % 1000;
"""


def make_fleet(out: Path, vessels: int, seed: int = 3) -> None:
    """Write `out`/exports (all but the last month) and `out`/month (October 2026); both hold paths within one folder of exports."""
    shutil.rmtree(out, ignore_errors=True)
    template = out / "template"
    write_canonical(template, min(vessels, TEMPLATE_VESSELS), YEARS, UNITS, seed, split="year")
    with duckdb.connect() as con:
        con.execute(MACROS)
        tables = _read_template(con, template)
        received: set[tuple[str, str]] = set()
        for office, first in enumerate(range(0, vessels, OFFICE_VESSELS)):
            count = min(OFFICE_VESSELS, vessels - first)
            con.execute(
                "create or replace temp table berth as select imo_number as template_imo, imo($first::int + 1000 + no) as imo_number, "
                "$first::int + no as vessel_no, (no * 7 + $first::int) % 28 as days from range($count::int) as numbers (no) "
                f"join template_vessel on template_no = no % {min(vessels, TEMPLATE_VESSELS)}",
                {"first": first, "count": count},
            )
            for table, columns in tables.items():
                received |= _write_office(con, out, f"office_{office:03d}", table, columns)
        _write_vessels(con, out, vessels, tables["vessel"])
    received.add(("vessel.csv", "2016-11-03"))
    lines = ["path,received_at", *(",".join(line) for line in sorted(received))]
    (out / "exports" / "received.csv").write_text("\n".join(lines) + "\n")
    shutil.rmtree(template)


def _read_template(con: duckdb.DuckDBPyConnection, template: Path) -> dict[str, list[str]]:
    """`template_<table>`: texts, with the period (a folder) that a row was sent in. Returns table -> column names."""
    tables = {}
    for table in ("vessel", "unit", "station", "spare", "inspection", "service", "finding"):
        paths = sorted(str(path) for path in template.rglob(f"{table}.csv"))
        con.execute(
            f"create table template_{table} as select * exclude (filename), regexp_extract(filename, '([^/]*)/[^/]*$', 1) as period "
            "from read_csv($paths, all_varchar = true, filename = true)",
            {"paths": paths},
        )
        described = con.execute(f"describe template_{table}").fetchall()
        tables[table] = [name for name, *_ in described if name != "period"]
    con.execute("alter table template_vessel add column template_no integer")
    con.execute("update template_vessel set template_no = rowid")
    return tables


def _stamped_sql(table: str, columns: list[str], key: str) -> str:
    """SELECT the office's rows of a table: numbers of its own, days moved, blemishes in some."""
    own = {"unit_id": "unit_id || '-' || vessel_no", "imo_number": "berth.imo_number"}
    own |= {name: f"earlier({name}, days)" for name in columns if name.endswith(("_on", "_from", "_to"))}
    for number, (name, said) in enumerate(BLEMISHES.get(table, {}).items()):
        own[name] = (
            f"case when luck({key}, vessel_no, {number}) = 7 and vessel_no % 3 = {number} then '{said}' else {own.get(name, name)} end"
        )
    return ", ".join(f"{own.get(name, name)} as {name}" for name in columns)


def _write_office(con, out: Path, office: str, table: str, columns: list[str]) -> set[tuple[str, str]]:
    """The files of one table of one office; returns (path, day of receipt)."""
    if table == "vessel":
        return set()
    event_on = EVENT_ON.get(table)
    key = f"unit_id || {event_on}" if event_on else "t.rowid"
    stamped = f"select {_stamped_sql(table, columns, key)}, t.period, luck({key}, vessel_no, 'left out') as left_luck, "
    stamped += f"luck({key}, vessel_no, 'twice') as twice_luck, "
    stamped += f"earlier({event_on}, days) >= '{MONTH_FROM}' as is_new " if event_on else "false as is_new "
    stamped += f"from template_{table} as t join berth on t.imo_number = template_imo"
    left_out = "where left_luck >= 5" if table == "inspection" else ""
    twice = f"union all from stamped {left_out} {'and' if left_out else 'where'} twice_luck = 1" if event_on else ""
    names = ", ".join(columns)
    con.execute(f"create or replace temp table office_row as with stamped as ({stamped}) from stamped {left_out} {twice}")
    order = f"imo_number, {columns[2] if event_on else columns[1]}, {columns[0]}"
    received = set()
    periods = con.execute("select distinct period, is_new from office_row order by all").fetchall()
    for period, is_new in periods:
        folder = "2026-10" if is_new else period
        path = f"{office}/{folder}/{table}.csv"
        target = out / ("month" if is_new else "exports") / path
        target.parent.mkdir(parents=True, exist_ok=True)
        con.execute(
            f"copy (select {names} from office_row where period = '{period}' and is_new = {is_new} order by {order}) "
            f"to '{target}' (header true, delimiter ',')"
        )
        year = 2016 if period == "before" else 2026 if period == "register" else int(period) + 1
        received.add((path, f"{year}-11-03"))
    return received


def _write_vessels(con, out: Path, vessels: int, columns: list[str]) -> None:
    """The register of vessels, one file."""
    own = {"imo_number": "imo(1000 + no)", "vessel_name": "vessel_name || ' ' || no"}
    selected = ", ".join(f"{own.get(name, name)} as {name}" for name in columns)
    con.execute(
        f"copy (select {selected} from range({vessels}) as numbers (no) join template_vessel "
        f"on template_no = no % {min(vessels, TEMPLATE_VESSELS)} order by no) to '{out / 'exports' / 'vessel.csv'}' (header true)"
    )


if __name__ == "__main__":
    make_fleet(Path(sys.argv[1]), int(sys.argv[2]))
