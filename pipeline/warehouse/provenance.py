"""What a database was built from, besides the rows: the run, the headers behind the columns, what people declared.

In: the ledger, the parsed files, corrections. Out: intake.run, intake.column_source, intake.correction, intake.withdrawn.
"""

from __future__ import annotations

import uuid
from datetime import UTC, date, datetime

import duckdb

from pipeline import __version__
from pipeline.intake.corrections import Correction
from pipeline.intake.dialect import Dialect, Feed
from pipeline.intake.received import write_time
from pipeline.intake.stage import insert_rows
from pipeline.intake.store import ReceivedFile


def write_run(
    con: duckdb.DuckDBPyConnection, started_at: datetime, as_of: date, known_at: datetime | None, rule_book_hash: str
) -> None:
    """One row in intake.run: what this database was built from and for."""
    con.execute(
        "insert into intake.run values (?, ?, ?, ?, ?, ?, ?, ?)",
        [uuid.uuid4().hex, _utc(started_at), _utc(datetime.now(UTC)), as_of, _utc(known_at) if known_at else None]
        + [__version__, duckdb.__version__, rule_book_hash],
    )


def write_declared(
    con: duckdb.DuckDBPyConnection,
    ledger: tuple[ReceivedFile, ...],
    known_at: datetime | None,
    corrections: dict[str, tuple[Correction, ...]],
) -> None:
    """What people declared about files: cells corrected, files withdrawn."""
    rows = [
        (file_id, item.record_no, item.header, item.was, item.to, item.why, item.who, date.fromisoformat(item.declared_on))
        + (item.declared_in, item.declared_record_no, item.declared_file_id)
        for file_id, items in corrections.items()
        for item in items
    ]
    insert_rows(con, "intake.correction", sorted(rows))
    con.execute(
        "update intake.quarantine as q set superseded_by = c.declared_file_id from intake.correction as c "
        "where q.rule = 'set-aside' and c.file_id = q.file_id and c.record_no = q.record_no"
    )
    moment = write_time(known_at) if known_at else None
    withdrawn = [
        (file.file_id, file.path, file.sha256, file.version, _utc(datetime.fromisoformat(file.received_at)))
        + (_utc(datetime.fromisoformat(item.at)), item.why)
        for file in ledger
        if (moment is None or file.received_at <= moment) and (item := file.withdrawal(moment))
    ]
    insert_rows(con, "intake.withdrawn", withdrawn)


def write_column_sources(con: duckdb.DuckDBPyConnection, matched: list[tuple[ReceivedFile, Dialect]]) -> None:
    """Which header of which file fed which column."""
    rows = {(file.file_id, *row) for file, dialect in matched for feed in dialect.feeds for row in _list_sources(feed)}
    insert_rows(con, "intake.column_source", sorted(rows, key=repr))


def _list_sources(feed: Feed) -> list[tuple]:
    """(table, column, header, constant, words) of each column of the feed; the words of a check list's cells too."""
    rows = [
        (feed.table, name, source.header, source.constant, ", ".join(source.words) or None)
        for name, source in feed.columns.items()
    ]
    if feed.wide and feed.wide.word_column not in feed.columns:
        rows.append((feed.table, feed.wide.word_column, None, None, ", ".join([*feed.wide.none_words, *feed.wide.cells])))
    return rows


def _utc(moment: datetime) -> datetime:
    """UTC without a zone, as the TIMESTAMP columns keep it."""
    return moment.astimezone(UTC).replace(tzinfo=None)
