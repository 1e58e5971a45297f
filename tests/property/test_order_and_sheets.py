"""In which files and in which order rows come does not matter, nor does their coming twice; a mended sheet ends a quarantine.

In: seeds. Out: the same rows in random dialects, dealt over files in other ways, received under other names and in another
order but at the same declared times, give the same record.* and figure.*. Rows spoilt on purpose, mended in the exported
sheets, come back as they were meant.
"""

from __future__ import annotations

import csv
import io
from pathlib import Path

import duckdb
import pytest

from pipeline.sheets import export_sheets
from tests.property.choosers import Chooser, SeededChooser
from tests.property.dialect_writer import Record, Source, write_file, write_toml
from tests.property.random_cells import compose
from tests.property.random_dialects import TABLES, draw_ships
from tests.property.random_sources import make_record
from tests.property.test_dialect_round_trip import assert_rows_equal, draw_sources, expected_rows, run_once
from tests.property.test_lateness import list_figure_columns, read_sorted

FLEETS = 4
SEEDS = [0, *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(1, 20))]
DAYS = ("2026-05-01", "2026-05-03", "2026-05-09")
Slots = list[list[Record]]


def restate(source: Source, one: Record, other: Record) -> Record:
    """The first record with what is no key taken from the second."""
    table, row = one.rows[0]
    feed = next(feed for feed in source.spec["table"] if feed["name"] == table)
    cells = list(one.cells)
    changed = {name: value for name, value in other.rows[0][1].items() if name not in TABLES[table]}
    kept = {name: value for name, value in row.items() if name in TABLES[table]}
    for column, entry in feed["columns"].items():
        header = entry if isinstance(entry, str) else entry.get("from")
        if header is not None and column not in TABLES[table] and column != "imo_number":
            place = source.headers.index(compose(header))
            cells[place] = other.cells[place]
    changed["imo_number"] = row["imo_number"]
    return make_record(tuple(cells), ((table, kept | changed),), source.style.delimiter)


def draw_slots(source: Source, chooser: Chooser) -> Slots:
    """All records at first, then some of them with other content, twice; a check list's rows stay as they are."""
    slots = [list(source.records)]
    for _ in DAYS[1:]:
        by_table: dict[str, list[Record]] = {}
        for record in source.records:
            if len(source.records) > 1 and "wide" not in source.spec["table"][-1]:
                by_table.setdefault(record.rows[0][0], []).append(record)
        slots.append([
            restate(source, record, chooser.pick_one(records))
            for records in by_table.values() for record in records if chooser.has_chance(30)
        ])  # fmt: skip
    return slots


def deal(records: list[Record], chooser: Chooser, parts: int) -> list[list[Record]]:
    shuffled = sorted(records, key=lambda _: chooser.pick_number(0, 999))
    return [share for share in (shuffled[part::parts] for part in range(parts)) if share]


def write_slots(folder: Path, drawn: list[tuple[Source, Slots]], chooser: Chooser, most_parts: int) -> None:
    """Files of every source and day, and received.csv. More parts: other names, other shares, another order."""
    received = ["path,received_at"]
    (folder / "dialects").mkdir(parents=True)
    for source, slots in drawn:
        (folder / f"dialects/{source.name}.toml").write_bytes(write_toml(source.spec))
        for day, records in zip(DAYS, slots, strict=True):
            for number, share in enumerate(deal(records, chooser, chooser.pick_number(1, most_parts))):
                name = f"{chooser.pick_number(100, 999)}{source.name}_{day}_{number}.csv"
                (folder / name).write_bytes(write_file(source, share, chooser).data)
                received.append(f"{name},{day}")
    (folder / "received.csv").write_text("\n".join(received))


def read_everything(db: Path) -> dict[str, list[str]]:
    found = {table: read_sorted(db, table, columns) for table, columns in list_figure_columns(db).items()}
    with duckdb.connect(str(db), read_only=True) as con:
        for (table,) in con.execute("select table_name from information_schema.tables where table_schema = 'record'").fetchall():
            rows = con.execute(f"select * exclude (file_id, record_no, line_no) from record.{table}").fetchall()
            found[f"record.{table}"] = sorted(map(repr, rows))
        assert con.execute("select count(*) from intake.quarantine").fetchone() == (0,)
    return found


def name_differences(one: dict[str, list[str]], other: dict[str, list[str]]) -> list[str]:
    return [
        f"{name}: {sorted(set(one[name]) ^ set(other[name]))[:4]}" for name in one if one[name] != other[name]
    ]  # fmt: skip


@pytest.mark.parametrize("seed", SEEDS)
def test_order_and_splitting_of_files_do_not_matter(all_figures, tmp_path, seed):
    chooser = SeededChooser(seed)
    sources = [source for n in range(FLEETS) for source in draw_sources(chooser, draw_ships(chooser, n), n, may_ask=False)]
    drawn = [(source, draw_slots(source, chooser)) for source in sources]
    found = []
    for parts in (1, 4):
        place = tmp_path / f"parts_{parts}"
        write_slots(place / "exports", drawn, chooser, parts)
        found.append(read_everything(run_once(place / "exports", place)))
    assert name_differences(*found) == []
    assert sum(map(len, (slot for _, slots in drawn for slot in slots[1:]))) > 10, "nothing was restated"


@pytest.mark.parametrize("seed", SEEDS)
def test_loading_twice_is_loading_once(all_figures, tmp_path, seed):
    """The same files again, under the same names and under others: duplicates all, and nothing changes."""
    chooser = SeededChooser(seed)
    sources = [source for n in range(FLEETS) for source in draw_sources(chooser, draw_ships(chooser, n), n)]
    folder = tmp_path / "exports"
    write_slots(folder, [(source, [source.records, [], []]) for source in sources], chooser, 1)
    once = read_everything(run_once(folder, tmp_path))
    assert name_differences(once, read_everything(run_once(folder, tmp_path))) == []
    for path in list(folder.glob("*.csv")):
        if path.name != "received.csv":
            (folder / "again").mkdir(exist_ok=True)
            (folder / "again" / f"x{path.name}").write_bytes(path.read_bytes())
    db = run_once(folder, tmp_path)
    assert name_differences(once, read_everything(db)) == []
    with duckdb.connect(str(db), read_only=True) as con:
        sql = "select sum(rows_read), sum(rows_duplicate), sum(rows_loaded) from intake.file where path {} like '%/again/%'"
        read, duplicate, loaded = con.execute(sql.format("")).fetchone()
        assert (duplicate, loaded) == (read, 0) and read == con.execute(sql.format("not")).fetchone()[0] > 0


def spoil(source: Source, record: Record, chooser: Chooser) -> Record:
    """The record with one cell that can't be read, or with a cell too many."""
    table = record.rows[0][0]
    feed = next(feed for feed in source.spec["table"] if feed["name"] == table)
    places = [
        source.headers.index(compose(entry if isinstance(entry, str) else entry["from"]))
        for column, entry in feed["columns"].items()
        if column.endswith(("_on", "_kg", "_mm", "imo_number")) and (isinstance(entry, str) or "from" in entry)
    ]
    # A record over several lines with a cell too many reads as a quote gone astray, whose lines are records of their own.
    has_breaks = any("\n" in cell or "\r" in cell for cell in record.cells)
    if not places and has_breaks:
        return record
    if not places or (chooser.has_chance(20) and not has_breaks):
        return Record((*record.cells, "x"), record.rows)
    cells = list(record.cells)
    cells[chooser.pick_one(places)] = "13x13"
    return Record(tuple(cells), record.rows)


def guard(cell: str) -> str:
    """As whoever mends a cell in a spreadsheet writes what begins like a formula."""
    return f"'{cell}" if cell.lstrip("'")[:1] in ("=", "+", "-", "@", "\t", "\r") else cell


def mend(sheet: Path, source: Source, con: duckdb.DuckDBPyConnection) -> bytes:
    """The sheet with every cell that is not as it was meant put right; rows that could not be told apart are written anew."""
    encoding = "utf-8-sig" if source.style.encoding == "utf-8" else source.style.encoding
    with open(sheet, encoding=encoding, newline="") as stream:
        headers, *rows = list(csv.reader(stream, delimiter=source.style.delimiter))
    names = [name if name not in source.headers[:n] else f"{name} ({n + 1})" for n, name in enumerate(source.headers)]
    for row in rows:
        file_id, record_no = row[headers.index("firekpi row")].split(":")
        assert con.execute("select dialect from intake.file where file_id = $id", {"id": file_id}).fetchone() == (source.name,)
        meant = dict(zip(names, source.records[int(record_no) - 1].cells, strict=True))
        for place, header in enumerate(headers):
            header = header if header in meant else header.removeprefix("'")
            if header in meant and row[place] not in (meant[header], "'" + meant[header]):
                assert row[place] in ("13x13", ""), (header, row[place], meant[header])
                row[place] = guard(meant[header])
    stream = io.StringIO(newline="")
    csv.writer(stream, delimiter=source.style.delimiter).writerows([headers, *rows])
    return stream.getvalue().encode(encoding)


@pytest.mark.parametrize("seed", SEEDS)
def test_mended_sheets_bring_every_row_back_as_it_was_meant(tmp_path, seed):
    chooser = SeededChooser(seed)
    sources = [source for n in range(FLEETS) for source in draw_sources(chooser, draw_ships(chooser, n), n, may_ask=False)]
    folder = tmp_path / "exports"
    (folder / "dialects").mkdir(parents=True)
    for source in sources:
        source.has_noise = False
        records = [spoil(source, record, chooser) if chooser.has_chance(40) else record for record in source.records]
        (folder / f"dialects/{source.name}.toml").write_bytes(write_toml(source.spec))
        (folder / f"{source.name}_x.csv").write_bytes(write_file(source, records, chooser).data)
    db = run_once(folder, tmp_path)
    export_sheets(db, tmp_path / "sheets")
    with duckdb.connect(str(db), read_only=True) as con:
        assert con.execute("select count(distinct dialect) from intake.file where rows_quarantined > 0").fetchone()[0] > FLEETS
        for source in sources:
            for sheet in (tmp_path / "sheets").glob(f"quarantine-{source.name}.?sv"):
                (folder / sheet.name).write_bytes(mend(sheet, source, con))
    with duckdb.connect(str(run_once(folder, tmp_path)), read_only=True) as con:
        still = "select path, dialect, line_no, q.reason, raw from intake.quarantine as q join intake.file as f using (file_id) where q.superseded_by is null"
        assert con.execute(still).fetchmany(3) == []
        assert_rows_equal(expected_rows(sources), con)
