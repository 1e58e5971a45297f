"""Everything worked out anew from a store. In: a store, the day and the time of knowing. Out: an open database, its subject marked."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

import duckdb

from pipeline.errors import UserError
from pipeline.evidence.subject import mark_subject
from pipeline.evidence.tables import Span
from pipeline.figures.build import FIGURES
from pipeline.intake.corrections import find_corrections
from pipeline.intake.match import match_dialects
from pipeline.intake.receive import Intake
from pipeline.intake.store import Store, sort_received
from pipeline.run import ParsedFile, RunOptions, known_by, read_files, run

# Those that tables.toml names and those they read; statistics of a fleet can't be told from one vessel's files.
PACKED = FIGURES[: FIGURES.index("defect_rate")]
Keep = Callable[[str, dict], None]


@contextmanager
def rebuild(
    store: Path, db: Path, span: Span, known_at: datetime, is_part: bool = False, keep_validation: Keep | None = None
) -> Iterator[tuple[duckdb.DuckDBPyConnection, list[ParsedFile]]]:
    """Yield the database, and the files that count as read, built from what the store holds. Raises UserError as run does, and those of
    find_vessel."""
    run(RunOptions((), store, db, span.as_of, known_at, True, not is_part, is_part, keep_validation, PACKED))
    kept = Store(store)
    known = known_by(tuple(sort_received(kept.ledger())), known_at)
    matched = match_dialects(Intake(tuple(known), (), ()), [file for file in known if not file.is_corrections], kept)
    read = read_files(kept, matched, find_corrections(kept, known, is_part))
    con = duckdb.connect(str(db), read_only=True)
    try:
        find_vessel(con, span)
        mark_subject(con, read, span.imo_number)
        yield con, read
    finally:
        con.close()


def find_vessel(con: duckdb.DuckDBPyConnection, span: Span) -> None:
    """Raises UserError no-such-vessel-known if no list of vessels names it, before-first-record if none of its records is as old as the day."""
    vessels = dict(con.execute("select imo_number, coalesce(vessel_name, '') from record.vessel order by imo_number").fetchall())
    if span.imo_number not in vessels:
        known = ", ".join(f"{imo} {name}" for imo, name in list(vessels.items())[:8]) + (", ..." if len(vessels) > 8 else "")
        raise UserError("no-such-vessel-known", imo_number=span.imo_number, known=known or "none")
    first_on = con.execute(
        "select min(day) from (select joined_on as day from record.vessel where imo_number = $imo_number "
        "union all select inspected_on from record.inspection where imo_number = $imo_number "
        "union all select serviced_on from record.service where imo_number = $imo_number "
        "union all select in_service_on from record.unit where imo_number = $imo_number)",
        {"imo_number": span.imo_number},
    ).fetchone()[0]
    if first_on is None or first_on > span.as_of:
        raise UserError("before-first-record", as_of=span.as_of, imo_number=span.imo_number, first_on=first_on or "of no day")
