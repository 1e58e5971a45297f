"""Which of the files received a pack of one vessel encloses. In: the database, its subject marked, and the ledger. Out: a list of files."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import duckdb

from pipeline.intake.corrections import read_corrections
from pipeline.intake.received import write_time
from pipeline.intake.sheet import find_answered
from pipeline.intake.store import ReceivedFile, Store, Withdrawal


def choose_files(con: duckdb.DuckDBPyConnection, store: Store, known_at: datetime, imo_number: str) -> list[ReceivedFile]:
    """Files that hold a row of the vessel or of its units, with all that bears on how these are read.

    Every version of their paths, the files that mended sheets answer, lists of corrections with one of theirs, and withdrawn files
    that name the vessel or one of its units. What was declared after `known_at` is left out.
    """
    received = cut_ledger(store.ledger(), known_at)
    by_id = {file.file_id: file for file in received}
    wanted = {file_id for (file_id,) in con.execute("select file_id from pack_file").fetchall()}
    moment = write_time(known_at)
    names = [imo_number.encode(), *(name.encode() for (name,) in con.execute("select unit_id from pack_unit").fetchall())]
    for file in received:
        if file.withdrawal(moment) and not file.is_corrections and any(name in store.open_file(file) for name in names):
            wanted.add(file.file_id)
    for file_id in sorted(wanted):
        answered = find_answered(store.open_file(by_id[file_id]))
        wanted |= {answered} & by_id.keys()
    paths = {by_id[file_id].path for file_id in wanted}
    for file in received:
        if file.is_corrections and {item.path for item in read_corrections(store.open_file(file), file)} & paths:
            paths.add(file.path)
    return [file for file in received if file.path in paths]


def cut_ledger(ledger: list[ReceivedFile], known_at: datetime) -> list[ReceivedFile]:
    """The ledger as it stood at that time."""
    moment = write_time(known_at)
    return [replace(file, withdrawals=cut_withdrawals(file, moment)) for file in ledger if file.received_at <= moment]


def cut_withdrawals(file: ReceivedFile, moment: str) -> tuple[Withdrawal, ...]:
    kept = [item for item in file.withdrawals if item.at <= moment]
    return tuple(replace(item, until=item.until if item.until <= moment else "") for item in kept)


def latest_moment(ledger: list[ReceivedFile]) -> str | None:
    """When anything was last received, withdrawn or taken back: all that is known is known from then on."""
    moments = [file.received_at for file in ledger]
    moments += [moment for file in ledger for item in file.withdrawals for moment in (item.at, item.until) if moment]
    return max(moments, default=None)
