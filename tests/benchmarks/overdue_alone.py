"""Load, spans and the overdue table alone, by the project's own SQL: what the pandas script does. Called as a process: EXPORTS.

The CSVs are read as the contract types them, a cell that can't be read is empty, of rows of one key one stays, and rows of no known vessel or
unit are left out; nothing is kept, checked or told.
"""

from __future__ import annotations

import json
import sys
import time
from datetime import date
from importlib.resources import files
from pathlib import Path

import duckdb

from pipeline import contract
from pipeline.duties.build import build_duties
from pipeline.duties.rule_book import read_rule_book
from pipeline.figures.build import compute_figures

AS_OF = date(2026, 10, 31)


def compute_overdue(con: duckdb.DuckDBPyConnection, exports: Path) -> dict:
    """Fill figure.overdue_monthly on an empty connection in memory. Returns seconds and rows."""
    started = time.perf_counter()
    con.execute(contract.macros_sql())
    con.execute(files("pipeline.warehouse").joinpath("schema.sql").read_text(encoding="utf-8"))
    rows = sum(_read_table(con, exports, table) for table in contract.tables().values())
    build_duties(con, read_rule_book({}))
    compute_figures(con, AS_OF, ("count_interval", "overdue_monthly"))
    return {"seconds": time.perf_counter() - started, "rows": rows}


def _read_table(con: duckdb.DuckDBPyConnection, exports: Path, table: contract.Table) -> int:
    """record.<table> of all files that give it; returns its rows."""
    paths = sorted(str(path) for path in exports.rglob(f"{table.name}.csv"))
    if paths:
        header = Path(paths[0]).read_text(encoding="utf-8").splitlines()[0].split(",")
        texts = "{" + ", ".join(f"'{name}': 'VARCHAR'" for name in header) + "}"
        source = f"read_csv({paths}, columns = {texts}, auto_detect = false, header = true, delim = ',', new_line = '\\n')"
    else:
        header, source = [], "(select 1 where false)"
    cells = [(column, _cell_sql(column, column.name in header)) for column in table.columns]
    typed = ", ".join(f"{cell} as {column.name}" for column, cell in cells)
    is_good = (
        " and ".join(f"({column.name} is null or {cell} is not null)" for column, cell in cells if column.name in header)
        or "true"
    )
    wanted = [f"{column.name} is not null" for column in table.columns if column.required]
    if table.name != "vessel":
        wanted.append("imo_number in (select imo_number from record.vessel)")
    if table.event_on and "unit_id" in table.column_names:
        wanted.append("unit_id in (select unit_id from record.unit)")
    key = ", ".join(table.key)
    con.execute(
        f"create temp table good as select * exclude (is_good), '' as file_id, row_number() over () as record_no, 0::bigint as line_no "
        f"from (select {typed}, {is_good} as is_good from {source}) where is_good and {' and '.join(wanted or ['true'])}"
    )
    # few keys come twice: to look at all rows for the one to stay takes four times as long
    con.execute(f"create temp table twice as select {key} from good group by all having count(*) > 1")
    con.execute(
        f"create table record.{table.name} as from good anti join twice using ({key}) "
        f"union all select distinct on ({key}) good.* from good semi join twice using ({key})"
    )
    con.execute("drop table good")
    con.execute("drop table twice")
    return con.execute(f"select count(*) from record.{table.name}").fetchone()[0]


def _cell_sql(column: contract.Column, is_given: bool) -> str:
    if not is_given:
        return f"{column.default or 'null'}::{column.sql_type}"
    cell = column.name
    if column.type == "word":
        cell = f"case when {cell} in ({', '.join(repr(word) for word in column.words)}) then {cell} end"
    elif column.type != "text":
        cell = f"try_cast({cell} as {column.sql_type})"
    return f"coalesce({cell}, {column.default})" if column.default else cell


if __name__ == "__main__":
    with duckdb.connect() as con:
        con.execute("set TimeZone = 'UTC'")
        print(json.dumps(compute_overdue(con, Path(sys.argv[1]))))
