"""What reading rests on in DuckDB: a row's place is its place in the file, a file's its place in the list; temporary names are a cursor's own."""

from __future__ import annotations

import duckdb
import pytest


def test_rowids_and_row_numbers_of_a_csv_are_places_in_the_file(tmp_path):
    """On several threads too, and beyond what one of them reads at a time."""
    count = 1_500_000
    path = tmp_path / "numbers.csv"
    with path.open("w") as stream:
        stream.writelines(f"{number},some text to make the line longer\n" for number in range(count))
    with duckdb.connect(config={"threads": 4}) as con:
        lines = (
            f"read_csv('{path}', columns = {{'c0': 'VARCHAR', 'c1': 'VARCHAR'}}, auto_detect = false, "
            "header = false, delim = ',', quote = '', escape = '', nullstr = '\0', new_line = '\\n')"
        )
        con.execute(f"create temp table line as select * from {lines}")
        assert con.execute("select count(*), count(*) filter (rowid = c0::bigint), max(rowid) from line").fetchone() == (
            count,
            count,
            count - 1,
        )
        con.execute(
            f"copy (select * from (select row_number() over () - 1 as row_no, * from {lines}) where c0 <> '7') "
            f"to '{tmp_path / 'numbers.parquet'}' (format parquet)"
        )
        found = f"select count(*), count(*) filter (row_no = c0::bigint), max(row_no) from '{tmp_path / 'numbers.parquet'}'"
        assert con.execute(found).fetchone() == (count - 1, count - 1, count - 1)


def test_file_index_is_the_place_in_the_list_of_files(tmp_path):
    paths = [str(tmp_path / f"{name}.parquet") for name in ("b", "a", "c")]
    with duckdb.connect() as con:
        for number, path in enumerate(paths):
            con.execute(f"copy (select {number} as said from range(5)) to '{path}' (format parquet)")
        assert con.execute(f"select distinct file_index, said from read_parquet({paths}) order by all").fetchall() == [
            (0, 0),
            (1, 1),
            (2, 2),
        ]


def test_temporary_names_are_a_cursors_own():
    with duckdb.connect() as con:
        one, two = con.cursor(), con.cursor()
        one.execute("create temp table mine as select 1 as x")
        one.execute("create temp view seen as from mine")
        with pytest.raises(duckdb.CatalogException):
            two.execute("from seen")


def test_memory_may_be_a_share_of_the_machines():
    with duckdb.connect() as con:
        whole = con.execute("set memory_limit = '100%'; select current_setting('memory_limit')").fetchone()[0]
        half = con.execute("set memory_limit = '50%'; select current_setting('memory_limit')").fetchone()[0]
        assert half != whole
        with pytest.raises(duckdb.Error):
            con.execute("set memory_limit = 'much'")
