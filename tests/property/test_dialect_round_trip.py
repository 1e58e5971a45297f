"""Random fleets in random dialects, written by hand and read back through the whole pipeline, come back equal.

In: seeds (more of them under `slow`) and hypothesis' draws. Out: every record.* row equals the canonical one it was written
from – texts letter by letter in Unicode's composed form, numbers to 1e-12 of their exact value –, nothing is quarantined, and
what a file must be read to have skipped is counted as skipped.
"""

from __future__ import annotations

import math
from collections import defaultdict
from datetime import date
from pathlib import Path

import duckdb
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline import contract
from pipeline.run import RunOptions, run
from tests.conftest import VESSEL_A
from tests.property.choosers import Chooser, DrawnChooser, SeededChooser
from tests.property.dialect_writer import LINE_END, Source, Written, pack, write_file, write_toml
from tests.property.random_cells import SCALES
from tests.property.random_dialects import ASIAN, DELIMITERS, EVENTS, ONE_BYTE, TABLES, THOUSANDS, UNICODE, Ships, draw_ships
from tests.property.random_sources import make_checklist, make_source

AS_OF = date(2026, 5, 10)
FLEETS_PER_BATCH, FLEETS_BY_DEFAULT = 40, 15
SEEDS = [0, *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(1, 30))]
GROUPS = (
    (("vessel",), ("unit",), ("station",), ("spare",), EVENTS),
    (("vessel",), ("unit",), ("inspection",), ("service",), ("finding",)),
    (("vessel", "unit"), ("station", "spare"), ("inspection",), ("service", "finding")),
    (("vessel", "unit", "station", "spare", *EVENTS),),
    (("vessel",), ("unit",), ("inspection", "checklist"), ("service",)),
)


def draw_sources(chooser: Chooser, ships: Ships, number: int, may_ask: bool = True) -> list[Source]:
    """The fleet's tables dealt over sources; a table that is in no group of the draw has no rows."""
    sources = []
    for group_no, tables in enumerate(chooser.pick_one(GROUPS)):
        name = f"s{number}q{group_no}"
        is_list = "checklist" in tables
        made = make_checklist(chooser, name, ships) if is_list else make_source(chooser, name, ships, tables, may_ask)
        sources.append(made)
    return sources


def write_source(folder: Path, source: Source, chooser: Chooser) -> dict[str, Written]:
    """The dialect, and its records in one file, packed or not; path within the folder -> what was written."""
    (folder / "dialects").mkdir(parents=True, exist_ok=True)
    (folder / f"dialects/{source.name}.toml").write_bytes(write_toml(source.spec))
    ending = chooser.pick_one(("csv", "tsv", "txt"))
    name = chooser.pick_one((f"{source.name}_x.{ending}", f"sub/päth/{source.name}_x.{ending}"))
    written = write_file(source, source.records, chooser)
    name, data, inner = pack(name, written.data, chooser.pick_one(("plain", "plain", "gz", "zip")))
    (folder / name).parent.mkdir(parents=True, exist_ok=True)
    (folder / name).write_bytes(data)
    return {inner: written}


def run_once(folder: Path, workdir: Path) -> Path:
    db = workdir / "read.duckdb"
    run(RunOptions((folder,), workdir / "store", db, AS_OF))
    return db


def expected_rows(sources: list[Source]) -> dict[str, list[tuple]]:
    rows: dict[str, list[tuple]] = defaultdict(list)
    for source in sources:
        for record in source.records:
            for table, row in record.rows:
                columns = contract.tables()[table].columns
                default = {"is_spare": False} if table == "unit" else {}
                given = default | {name: value for name, value in row.items() if value is not None}
                rows[table].append(tuple(given.get(column.name) for column in columns))
    return rows


def is_number(value: object) -> bool:
    return value is not None and not isinstance(value, str | bool | date)


def is_equal(written: object, found: object) -> bool:
    if is_number(written) and is_number(found):
        return math.isclose(float(written), found, rel_tol=1e-12, abs_tol=1e-12)
    return type(written) is type(found) and written == found


def by_key(table: str, rows: list[tuple]) -> dict[tuple, tuple]:
    """Rows by the part of their key that is no number: the generator gives each such key once."""
    names = contract.tables()[table].column_names
    places = [names.index(column) for column in TABLES[table] if not column.startswith("charge")]
    found = {tuple(row[place] for place in places): row for row in rows}
    assert len(found) == len(rows), f"{table}: a key stands there twice"
    return found


def assert_rows_equal(expected: dict[str, list[tuple]], con: duckdb.DuckDBPyConnection) -> None:
    for table in contract.tables().values():
        rows = con.execute(f"select {', '.join(table.column_names)} from record.{table.name}").fetchall()
        found, written = by_key(table.name, rows), by_key(table.name, expected.get(table.name, []))
        assert found.keys() == written.keys(), f"{table.name}: {list(found.keys() ^ written.keys())[:3]}"
        wrong = [
            (table.name, key, name, one, other)
            for key, row in written.items()
            for name, one, other in zip(table.column_names, row, found[key], strict=True)
            if not is_equal(one, other)
        ]
        assert wrong == []


def assert_nothing_put_aside(con: duckdb.DuckDBPyConnection) -> None:
    bad = con.execute("select path, dialect, line_no, q.reason, raw from intake.quarantine as q join intake.file using (file_id)")
    assert bad.fetchmany(3) == []


def assert_counts(files: dict[str, Written], con: duckdb.DuckDBPyConnection) -> None:
    found = {
        path.split("/", 1)[1]: counts
        for path, *counts in con.execute("select path, rows_read, rows_loaded, lines_skipped from intake.file").fetchall()
    }
    assert found == {path: [written.rows, written.rows, written.lines_skipped] for path, written in files.items()}


def read_back(sources: list[Source], workdir: Path, chooser: Chooser) -> None:
    folder = workdir / "exports"
    files: dict[str, Written] = {}
    for source in sources:
        files |= write_source(folder, source, chooser)
    with duckdb.connect(str(run_once(folder, workdir)), read_only=True) as con:
        assert_nothing_put_aside(con)
        assert_rows_equal(expected_rows(sources), con)
        assert_counts(files, con)


@pytest.mark.parametrize("seed", SEEDS)
def test_random_dialects_are_read_back_equal(tmp_path, seed):
    chooser = SeededChooser(seed)
    sources = [
        source
        for number in range(FLEETS_PER_BATCH if seed else FLEETS_BY_DEFAULT)
        for source in draw_sources(chooser, draw_ships(chooser, number), number)
    ]
    read_back(sources, tmp_path, chooser)


def test_the_generator_reaches_every_way_of_writing():
    chooser = SeededChooser(0)
    sources = [source for n in range(FLEETS_PER_BATCH * 2) for source in draw_sources(chooser, draw_ships(chooser, n), n)]
    entries = [
        entry
        for source in sources
        for feed in source.spec["table"]
        for entry in feed["columns"].values()
        if isinstance(entry, dict)
    ]
    traits = {
        **{f"encoding {name}": any(s.style.encoding == name for s in sources) for name in (*UNICODE, *ONE_BYTE, *ASIAN)},
        **{f"delimiter {mark!r}": any(s.style.delimiter == mark for s in sources) for mark in DELIMITERS},
        **{f"line end {end!r}": any(s.style.line_end == end for s in sources) for end in ("\n", "\r", "\r\n")},
        **{f"thousands {mark!r}": any(s.spec["thousands_mark"] == mark for s in sources) for mark in ("", *THOUSANDS)},
        **{
            key: any(key in entry for entry in entries)
            for key in ("words", "formats", "unit", "prefix", "precision_into", "constant")
        },
        **{f"unit {unit}": any(e.get("unit") == unit for e in entries) for units in SCALES.values() for unit in units},
        **{key: any(feed.get(key) for s in sources for feed in s.spec["table"]) for key in ("when", "wide")},
        **{
            key: any(s.spec.get(key) for s in sources)
            for key in ("total_rows", "repeated_header", "skip_head", "skip_foot", "null_words")
        },
        "day or month": any({"%d/%m/%Y", "%m/%d/%Y"} == set(entry.get("formats", ())) for entry in entries),
        "line end in a cell": any(LINE_END.search(cell) for s in sources for record in s.records for cell in record.cells),
    }
    assert [trait for trait, is_there in traits.items() if not is_there] == []


@pytest.mark.slow
@given(st.data())
@settings(max_examples=3, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
def test_hypothesis_finds_no_dialect_that_is_read_otherwise(tmp_path_factory, data):
    chooser = DrawnChooser(data.draw)
    read_back(draw_sources(chooser, draw_ships(chooser, 0), 0), tmp_path_factory.mktemp("drawn"), chooser)


def read_small(folder: Path, workdir: Path, spec: dict, text: str, sql: str) -> list[tuple]:
    """One file of one dialect, beside a register of the unit U1; what `sql` finds."""
    base = {"name": "s", "files": ["s_*"]}
    (folder / "dialects").mkdir(parents=True)
    (folder / "dialects/s.toml").write_bytes(write_toml(base | spec))
    (folder / "s_1.csv").write_text(text, encoding="utf-8", newline="")
    (folder / "vessel.csv").write_text(f"imo_number\n{VESSEL_A}\n")
    (folder / "unit.csv").write_text(f"unit_id,imo_number\nU1,{VESSEL_A}\n")
    with duckdb.connect(str(run_once(folder, workdir)), read_only=True) as con:
        assert_nothing_put_aside(con)
        return con.execute(sql).fetchall()


LOOKS = {"unit_id": "No", "imo_number": "IMO", "inspected_on": "Day", "outcome": "Word"}


def test_a_two_digit_year_is_read_by_the_form_that_has_one(tmp_path):
    """%Y reads '24' as the year 24, which is no reading; the next form must be tried."""
    spec = {"date_formats": ["%d.%m.%Y", "%d.%m.%y"], "table": [{"name": "inspection", "columns": LOOKS}]}
    text = f"No,IMO,Day,Word\nU1,{VESSEL_A},29.02.24,satisfactory\nU1,{VESSEL_A},01.03.2024,satisfactory\n"
    found = read_small(tmp_path / "exports", tmp_path, spec, text, "select inspected_on from record.inspection order by 1")
    assert found == [(date(2024, 2, 29),), (date(2024, 3, 1),)]


def test_a_header_or_total_in_parts_is_skipped_as_one_composed(tmp_path):
    """Decision 24: text is compared in Unicode's composed form."""
    columns = LOOKS | {"inspected_on": "Prüftag"}
    spec = {"repeated_header": True, "total_rows": [{"column": "No", "is": ["Übersicht"]}]}
    spec["table"] = [{"name": "inspection", "columns": columns}]
    head = "No,IMO,Pru\u0308ftag,Word\n"
    text = f"{head}U1,{VESSEL_A},2024-02-29,satisfactory\n{head}U\u0308bersicht,1,,\n"
    found = read_small(
        tmp_path / "exports", tmp_path, spec, text, "select records, lines_skipped from intake.file where dialect = 's'"
    )
    assert found == [(3, 2)]


@pytest.mark.parametrize("word, cell", [("ΚΑΛΟΣ", "ΚΑΛΟΣ"), ("καλος", "ΚΑΛΟΣ"), ("ΚΑΛΟΣ", "καλος"), ("İYİ", "İYİ")])
def test_a_word_is_known_in_whatever_case_it_comes(tmp_path, word, cell):
    """Python and DuckDB do not lower a final sigma or a dotted I alike."""
    entry = {"from": "Word", "words": {word: "satisfactory"}}
    spec = {"table": [{"name": "inspection", "columns": LOOKS | {"outcome": entry}}]}
    text = f"No,IMO,Day,Word\nU1,{VESSEL_A},2024-02-29,{cell}\n"
    found = read_small(tmp_path / "exports", tmp_path, spec, text, "select outcome from record.inspection")
    assert found == [("satisfactory",)]


def test_line_ends_in_the_first_and_the_last_cell_are_no_lost_quote(tmp_path):
    """No whole line stands within one cell, so nothing was swallowed (decision 13)."""
    spec = {"table": [{"name": "inspection", "columns": LOOKS | {"inspector_role": "Role", "remarks": "Note"}}]}
    text = f'Role,No,IMO,Day,Word,Note\n"third\nmate",U1,{VESSEL_A},2024-02-29,satisfactory,"dry\nand clean"\n'
    found = read_small(tmp_path / "exports", tmp_path, spec, text, "select inspector_role, remarks from record.inspection")
    assert found == [("third\nmate", "dry\nand clean")]
