"""Cells of figures and records that differ between two databases. In: schemas `older` and `newer`, attached. Out: temp tables.

`cell_diff`: one row is a cell of a figure that differs. `record_diff`: one row is a record that differs, by the key of the contract.
"""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files

import duckdb

from pipeline import contract
from pipeline.contract import Table

KEY = ("table_name", "imo_number", "unit_id", "duty", "item", "month_end", "row_no", "column_name")
SIDES = ("older", "newer")


@cache
def compared_tables() -> tuple[dict, ...]:
    """The blocks of changes.toml."""
    return tuple(tomllib.loads(files("pipeline.evidence").joinpath("changes.toml").read_text(encoding="utf-8"))["table"])


def compare_cells(con: duckdb.DuckDBPyConnection) -> None:
    """Make `cell_diff`: then and now of each cell that differs, with the record behind either and the tables it rests on."""
    home = con.execute("select current_database()").fetchone()[0]
    for side in SIDES:
        con.execute(f"use {side}")
        parts = " union all by name ".join(f"({_cells_sql(table)})" for table in compared_tables())
        con.execute(f"create temp table {side}_cell as {parts}")
    con.execute(f"use {home}")
    same = " and ".join(f"o.{name} is not distinct from n.{name}" for name in KEY)
    key = ", ".join(f"coalesce(o.{name}, n.{name}) as {name}" for name in KEY)
    con.execute(
        f"""
        create temp table cell_diff as
        select row_number() over (order by {", ".join(KEY)}) as cell_no, * from (
            select {key}, coalesce(o.rests_on, n.rests_on) as rests_on, coalesce(o.is_own, n.is_own) as is_own,
                coalesce(o.agent, n.agent) as agent,
                o.table_name is null or n.table_name is null as is_row, o.value as then_value, n.value as now_value, o.file_id as then_file_id, o.record_no as then_record_no,
                o.line_no as then_line_no, n.file_id as now_file_id, n.record_no as now_record_no, n.line_no as now_line_no
            from older_cell as o full join newer_cell as n on {same}
            where o.value is distinct from n.value)"""
    )


def _cells_sql(table: dict) -> str:
    """One row is a cell of the table: its key, its value as text, the record behind its row, the tables it rests on."""
    columns = list(table["columns"])
    key = [f"{table.get('unit', 'null')}::varchar", f"{table.get('duty', 'null')}::varchar"]
    key += [f"({table.get('item', 'null')})::varchar", f"{table.get('month', 'null')}::date"]
    place = table.get("source", ["null", "null", "null"])
    values = ", ".join(f"{name}::varchar as c{number}" for number, name in enumerate(columns))
    order = ", ".join([*columns, *[name for name in place if name != "null"]])
    names = ", ".join(f"c{number} as {name}" for number, name in enumerate(columns))
    rests = " ".join(f"when '{name}' then {_listed(on)}" for name, on in table.get("columns_rest_on", {}).items())
    default = _listed(table.get("rests_on", []))
    own = f"column_name not in {tuple(table['columns_rest_on'])}" if rests else "true"
    return (
        f"select *, {f'case column_name {rests} else {default} end' if rests else default} as rests_on, {own} as is_own from ("
        f"select '{table['name']}' as table_name, imo_number, {key[0]} as unit_id, {key[1]} as duty, {key[2]} as item, "
        f"{key[3]} as month_end, row_number() over (partition by imo_number, {', '.join(key)} order by {order}) as row_no, "
        f"{table.get('agent', 'null')}::varchar as agent, {place[0]}::varchar as file_id, {place[1]}::bigint as record_no, "
        f"{place[2]}::bigint as line_no, {values} from {table['rows']}) "
        f"unpivot include nulls (value for column_name in ({names}))"
    )


def _listed(names: list[str]) -> str:
    return "[" + ", ".join(f"'{name}'" for name in names) + "]::varchar[]"


def compare_records(con: duckdb.DuckDBPyConnection) -> None:
    """Make `record_diff`: records that are new, gone or changed, their place then and now, and the columns that differ."""
    parts = " union all ".join(_records_sql(table) for table in contract.tables().values())
    con.execute(
        f"create temp table record_diff as select row_number() over (order by table_name, said, then_file_id, now_file_id) as change_no, * from ({parts})"
    )


def _records_sql(table: Table) -> str:
    same = " and ".join(f"o.{name} is not distinct from n.{name}" for name in table.key)
    said = ", ".join(f"coalesce(o.{name}, n.{name})::varchar" for name in table.key)
    others = [name for name in table.column_names if name not in table.key]
    cells = ", ".join(f"{{'name': '{name}', 'old': o.{name}::varchar, 'new': n.{name}::varchar}}" for name in others)
    unit = "coalesce(o.unit_id, n.unit_id)" if "unit_id" in table.column_names else "null::varchar"
    day = f"coalesce(o.{table.event_on}, n.{table.event_on})" if table.event_on else "null::date"
    return (
        f"select '{table.name}' as table_name, {unit} as unit_id, coalesce(n.imo_number, o.imo_number) as imo_number, {day} as day, "
        f"concat_ws(', ', {said}) as said, case when o.file_id is null then 'new' when n.file_id is null then 'gone' else 'changed' "
        "end as kind, o.file_id as then_file_id, o.record_no as then_record_no, o.line_no as then_line_no, "
        "n.file_id as now_file_id, n.record_no as now_record_no, n.line_no as now_line_no, "
        f"list_filter([{cells}], lambda cell: cell.old is distinct from cell.new) as cells "
        f"from older.record.{table.name} as o full join newer.record.{table.name} as n on {same} "
        "where o.file_id is null or n.file_id is null or len(cells) > 0"
    )
