"""One kept file to typed Parquet rows, once: the result is cached under file, dialect, contract and parser version.

In: the store and a received file with its dialect. Out: a `Parsed` that names one Parquet file per feed, and the
records that are no rows.
"""

from __future__ import annotations

import csv
import hashlib
import json
import os
import shutil
import threading
from dataclasses import asdict, dataclass, field
from functools import cache
from importlib.resources import files
from pathlib import Path

import duckdb

from pipeline import contract
from pipeline.errors import UserError
from pipeline.intake.convert import conversion_sql, unmatched_sql
from pipeline.intake.corrections import Correction, correct_rows
from pipeline.intake.date_order import list_settled, settle_formats
from pipeline.intake.dialect import Dialect, Feed
from pipeline.intake.plain import Plain, read_plain
from pipeline.intake.reader import Broken, Records, read_records
from pipeline.intake.store import ReceivedFile, Store

PARSER_VERSION = "7"
# Encodings of version 2 make a file a fifth as long and quicker to write and read; nobody looks for one key in it.
PARQUET = "format parquet, parquet_version v2, write_bloom_filter false"
PLACING = threading.Lock()


@dataclass(frozen=True)
class Parsed:
    """What one file holds: `feeds` are (table, Parquet path, rows), `broken` the records that are no rows.

    `answers` are (record_no, file_id, record_no): records of a mended sheet and the quarantined ones they answer.
    """

    records: int
    lines_skipped: int
    feeds: tuple[tuple[str, Path, int], ...]
    broken: tuple[Broken, ...]
    answers: tuple[tuple[int, str, int], ...]
    is_sheet: bool = False
    formats: dict[str, tuple[str, ...]] = field(default_factory=dict)


@cache
def contract_digest() -> str:
    """Changes whenever a table, a unit or the vocabulary of the contract does."""
    names = [f"{name}.toml" for name in contract.TABLE_ORDER] + ["units.toml"]
    texts = [files("pipeline.contract").joinpath(name).read_bytes() for name in names]
    return hashlib.sha256(b"\0".join(texts)).hexdigest()[:16]


def parse_file(
    store: Store,
    received: ReceivedFile,
    dialect: Dialect,
    con: duckdb.DuckDBPyConnection,
    corrections: tuple[Correction, ...] = (),
    earlier: dict[str, Parsed] | None = None,
) -> Parsed | None:
    """Parse the file, or take the result of an earlier run with the same bytes, dialect and corrections.

    `earlier` are the files read before, by file_id: a mended sheet is read as those that it answers were; without them a sheet that is not
    in the cache is not read (None). A cached result whose Parquet files are not as they were written is made anew.
    """
    parts = [received.sha256, dialect.digest, contract_digest(), PARSER_VERSION, duckdb.__version__]
    parts += [repr((item.record_no, item.header, item.was, item.to, item.said)) for item in corrections]
    key = hashlib.sha256("\0".join(parts).encode("utf-8", "surrogatepass")).hexdigest()[:32]
    folder = store.root / "parsed" / key
    cached = _read_parsed(folder)
    if cached is None:
        if not _parse_into(folder, store, received, dialect, con, corrections, earlier):
            return None
        cached = _read_parsed(folder)
    if cached is None:
        raise UserError("cannot-write", path=folder, why="what was written does not read back")
    return cached


def _parse_into(folder: Path, store: Store, received: ReceivedFile, dialect: Dialect, con, corrections, earlier) -> bool:
    """Write the Parquet files beside the final folder, then move them in: a crash leaves no half result. False: a sheet has to wait."""
    # two threads may have the same bytes under two names
    part = folder.with_name(f"{folder.name}.{os.getpid()}.{threading.get_ident()}.part")
    try:
        shutil.rmtree(part, ignore_errors=True)
        part.mkdir(parents=True)
        data = store.open_file(received)
        records = read_records(data, dialect, received.path)
        if records.is_sheet and earlier is None:
            return False
        plain = None if corrections else read_plain(data, dialect, records, received.path)
        del data
        source = "source_record"
        if plain is None:
            records.rows = correct_rows(records.rows, records, corrections, dialect.delimiter)
            load_records(records, part / "records.csv", con)
        else:
            source = load_plain(plain, records, part, dialect.delimiter, con, _is_read_once(dialect))
        answered = [earlier[file_id].formats for file_id, _ in records.answers.values() if file_id in earlier]
        dialect = settle_formats(dialect, records.headers, received.path, con, answered if records.is_sheet else None)
        broken = sorted(records.broken, key=lambda item: item.record_no) + _unmatched(records, dialect, con)
        is_trimmed = plain is not None and plain.is_trimmed
        in_order = plain is not None and not plain.rows
        feeds = [
            _write_feed(part, number, conversion_sql(feed, records.headers, dialect, is_trimmed, source), feed, in_order, con)
            for number, feed in enumerate(dialect.feeds)
        ]
        if plain is not None and _is_read_once(dialect) and feeds[0]["rows"] != plain.count + len(plain.rows):
            raise RuntimeError(f"{plain.count + len(plain.rows)} records written, {feeds[0]['rows']} came back")
        for name in ("records.csv", "plain.csv"):
            (part / name).unlink(missing_ok=True)
        result = {"records": records.count, "lines_skipped": records.lines_skipped, "feeds": feeds}
        result["broken"] = [asdict(item) for item in broken]
        result["answers"] = [(number, *answered) for number, answered in records.answers.items()]
        result["is_sheet"] = records.is_sheet
        result["formats"] = list_settled(dialect)
        (part / "parsed.json").write_text(json.dumps(result), encoding="utf-8")
        with PLACING:
            if _read_parsed(folder) is None:  # not yet put there by the other thread, which may be reading it
                shutil.rmtree(folder, ignore_errors=True)
                os.replace(part, folder)
        return True
    except OSError as error:
        raise UserError("cannot-write", path=folder, why=error.strerror) from error
    except duckdb.IOException as error:
        raise UserError("cannot-write", path=folder, why=str(error).splitlines()[0]) from error
    finally:
        shutil.rmtree(part, ignore_errors=True)


def _is_read_once(dialect: Dialect) -> bool:
    """Whether one query makes a row of each record, and no other looks at them: nothing to choose among tables or forms of dates."""
    feed = dialect.feeds[0]
    is_settled = all(len(source.formats) < 2 for source in feed.columns.values())
    return len(dialect.feeds) == 1 and feed.when is None and feed.wide is None and is_settled


def load_records(records: Records, path: Path, con) -> None:
    """Bring the good records into the temporary view `source_record`: record_no, line_no, then text c0, c1, ..."""
    _load_rows(records.rows, len(records.headers), path, "other_line", con)
    con.execute("create or replace temp view source_record as from other_line")


def _load_rows(rows, width: int, path: Path, table: str, con) -> None:
    """Rows (record_no, line_no, cells) through a CSV file of our own."""
    columns = {"record_no": "BIGINT", "line_no": "BIGINT"} | _text_columns(width)
    count = 0
    with open(path, "w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\n", quoting=csv.QUOTE_ALL)
        for record_no, line_no, cells in rows:
            writer.writerow((record_no, line_no, *cells))
            count += 1
    _read_back(table, path, columns, "delim = ',', quote = '\"', escape = '\"'", count, con)


def load_plain(plain: Plain, records: Records, part: Path, delimiter: str, con, is_read_once: bool = False) -> str:
    """As load_records, with the plain lines read by DuckDB as they are: `source_record` is a view on them and the other rows.

    The number of a plain line is its rowid, to which is added what stood between the lines up to there. Returns what to select from: a
    file of one piece that `is_read_once` goes into no table, but the query reads its lines, in their order and by one thread; who asks
    counts what it gives.
    """
    width, pieces = len(records.headers), len(plain.pieces)
    with open(part / "plain.csv", "wb") as stream:
        stream.writelines(plain.pieces)
    plain.pieces.clear()
    marks = f"delim = '{delimiter.replace(chr(39), chr(39) * 2)}', quote = '', escape = ''"
    cells = ", ".join(_text_columns(width))
    is_whole = len(plain.shifts) == 1 and not plain.rows
    read_once = is_whole and is_read_once and pieces == 1
    if read_once:
        lines = f"(select row_number() over () - 1 as row_no, * from {_csv_sql(part / 'plain.csv', _text_columns(width), marks)})"
    else:
        _read_back("plain_line", part / "plain.csv", _text_columns(width), marks, plain.count, con)
        lines = "(select rowid as row_no, * from plain_line)"
    if is_whole:
        _, record, line = plain.shifts[0]
        sql = f"select row_no + {record} as record_no, row_no + {line} as line_no, {cells} from {lines}"
        if read_once:
            return f"({sql})"
        con.execute(f"create or replace temp view source_record as {sql}")
        return "source_record"
    _load_rows(plain.rows, width, part / "records.csv", "other_line", con)
    listed = ", ".join(map(str, plain.shifts)) or "(0, 0, 0)"
    con.execute(f"create or replace temp table line_shift as from (values {listed}) as shift (from_row, record, line)")
    con.execute(
        f"create or replace temp view source_record as select row_no + record as record_no, row_no + line as line_no, {cells} "
        f"from {lines} as came asof join line_shift on from_row <= row_no "
        f"union all select record_no, line_no, {cells} from other_line"
    )
    return "source_record"


def _read_back(table: str, path: Path, columns: dict[str, str], marks: str, count: int, con) -> None:
    """The file as a temporary table, every line of it."""
    con.execute(f"create or replace temp table {table} as select * from {_csv_sql(path, columns, marks)}")
    loaded = con.execute(f"select count(*) from {table}").fetchone()[0]
    if loaded != count:
        raise RuntimeError(f"{count} records written, {loaded} came back")


def _csv_sql(path: Path, columns: dict[str, str], marks: str) -> str:
    """The lines of a file of ours."""
    listed = "{" + ", ".join(f"'{name}': '{kind}'" for name, kind in columns.items()) + "}"
    return (
        f"read_csv('{_quote(path)}', columns = {listed}, auto_detect = false, "
        f"header = false, {marks}, nullstr = '\0', new_line = '\\n', max_line_size = 33554432)"
    )


def _text_columns(width: int) -> dict[str, str]:
    return {f"c{number}": "VARCHAR" for number in range(width)}


def _unmatched(records: Records, dialect: Dialect, con) -> list[Broken]:
    """Records of a dialect with several tables that none of them takes."""
    query = unmatched_sql(dialect, records.headers)
    if query is None:
        return []
    return [
        Broken(number, line, "no-table", cell or "", content) for number, line, cell, content in con.execute(*query).fetchall()
    ]


def _write_feed(part: Path, number: int, query: tuple[str, dict], feed: Feed, in_order: bool, con) -> dict:
    """One Parquet file in the order of records; plain lines come so, but for the cells of a check list."""
    name = f"{number}-{feed.table}.parquet"
    sql, parameters = query
    order = "" if in_order and not feed.wide else "order by record_no, item_no"
    rows = con.execute(f"copy (select * from ({sql}) {order}) to '{_quote(part / name)}' ({PARQUET})", parameters).fetchone()[0]
    return {"table": feed.table, "file": name, "rows": rows, "sha256": _digest(part / name)}


def _quote(path: Path) -> str:
    return str(path).replace("'", "''")


def _digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def _read_parsed(folder: Path) -> Parsed | None:
    """The cached result, or None if it is absent or not as it was written: it can be made again."""
    try:
        result = json.loads((folder / "parsed.json").read_text(encoding="utf-8"))
        if any(_digest(folder / feed["file"]) != feed["sha256"] for feed in result["feeds"]):
            return None
        return Parsed(
            records=result["records"],
            lines_skipped=result["lines_skipped"],
            feeds=tuple((feed["table"], folder / feed["file"], feed["rows"]) for feed in result["feeds"]),
            broken=tuple(Broken(**item) for item in result["broken"]),
            answers=tuple((number, file_id, record_no) for number, file_id, record_no in result["answers"]),
            is_sheet=result["is_sheet"],
            formats={name: tuple(formats) for name, formats in result["formats"].items()},
        )
    except (OSError, ValueError, KeyError, TypeError):
        return None
