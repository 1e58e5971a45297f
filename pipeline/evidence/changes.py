"""What changed between two moments, and why. In: a store, two times, a day. Out: a database that says it, for page and CSV.

Both databases are built from the store as they would have been; schema `change` of a third holds what differs.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from tempfile import TemporaryDirectory

import duckdb

from pipeline.errors import UserError
from pipeline.evidence.changes_cells import compare_cells, compare_records, compared_tables
from pipeline.evidence.subject import run_file
from pipeline.intake.received import write_time
from pipeline.intake.store import ReceivedFile, Store
from pipeline.run import RunOptions, run
from pipeline.spreadsheet import guard
from pipeline.warehouse.build import CONNECTION

HEADER = (
    "table", "vessel", "imo_number", "unit", "duty", "item", "month", "column", "then", "now", "why",
    "file_then", "record_then", "line_then", "file_now", "record_now", "line_now",
)  # fmt: skip
# One row for each column of HEADER, in the order in which change.cell is kept.
CELLS_SQL = (
    "select table_name, vessel_name, imo_number, unit_id, duty, item, strftime(month_end, '%Y-%m'), column_name, then_value, now_value, why, "
    "then_path, then_record_no, then_line_no, now_path, now_record_no, now_line_no from change.cell"
)


@dataclass(frozen=True)
class Asked:
    """What to compare: `moments` sorted, the last None for all that is known now; `vessel` an IMO number or None for all."""

    store: Path
    moments: tuple[datetime, datetime | None]
    as_of: date
    vessel: str | None = None


def sort_moments(moments: list[datetime]) -> tuple[datetime, datetime | None]:
    """One or two times as the earlier and the later one. Raises UserError usage."""
    if len(moments) not in (1, 2):
        raise UserError("usage", message="changes needs --known-at once or twice: the moments between which something changed")
    earlier, *later = sorted(moments)
    return earlier, later[0] if later else None


@contextmanager
def compared(asked: Asked, tell: Callable[[str], None] = lambda stage: None) -> Iterator[tuple[Path, Path]]:
    """Yield the database of what changed and that of the later moment; both are gone afterwards.

    Raises UserError no-store, nothing-by-then, unknown-vessel-asked, and those of a run.
    """
    if not (asked.store / "received.json").exists():
        raise UserError("no-store", store=asked.store)
    ledger = Store(asked.store).ledger()
    with TemporaryDirectory() as scratch:
        built = []
        for name, moment in zip(("older", "newer"), asked.moments, strict=True):
            tell(f"what was known at {write_time(moment)}" if moment else "what is known now")
            built.append(Path(scratch) / f"{name}.duckdb")
            run(RunOptions((), asked.store, built[-1], asked.as_of, moment, is_trial=True))
        if Store(asked.store).ledger() != ledger:
            raise UserError("store-busy", store=asked.store, holder="a run that changed it meanwhile")
        tell("comparing the two")
        changes = Path(scratch) / "changes.duckdb"
        with duckdb.connect(str(changes), config=dict(CONNECTION)) as con:
            compare(con, *built, ledger, asked)
        yield changes, built[1]


def compare(con: duckdb.DuckDBPyConnection, older: Path, newer: Path, ledger: list[ReceivedFile], asked: Asked) -> None:
    """Fill schema `change` from the two databases. Raises UserError nothing-by-then, unknown-vessel-asked."""
    con.execute("set TimeZone = 'UTC'")
    for name, path in (("older", older), ("newer", newer)):
        con.execute(f"attach '{str(path).replace(chr(39), chr(39) * 2)}' as {name} (read_only)")
    _refuse_unknown(con, asked)
    con.execute("create schema change")
    _write_ledger(con, ledger, asked)
    compare_cells(con)
    compare_records(con)
    for name in ("given", "records", "why", "counts", "cell"):
        run_file(con, f"changes_{name}.sql", {"day": asked.moments[0].astimezone(UTC).date(), "as_of": asked.as_of})
    if asked.vessel:
        for table in ("cell", "unit_reason", "way"):
            con.execute(f"delete from change.{table} where imo_number is distinct from ?", [asked.vessel])
    con.execute("create table change.compared (name varchar, title varchar, column_name varchar, said varchar)")
    said = [(table["name"], table["title"], *column) for table in compared_tables() for column in table["columns"].items()]
    con.executemany("insert into change.compared values (?, ?, ?, ?)", said)


def _refuse_unknown(con: duckdb.DuckDBPyConnection, asked: Asked) -> None:
    """A day before all records, and a vessel that neither moment knows."""
    first_on = con.execute(
        "select min(day) from (select coalesce(in_service_on, made_on) as day from newer.record.unit "
        "union all select inspected_on from newer.record.inspection union all select serviced_on from newer.record.service)"
    ).fetchone()[0]
    if first_on is None or asked.as_of < first_on:
        raise UserError("nothing-by-then", as_of=asked.as_of, first_on=first_on or "of no known day")
    known = "select imo_number from older.record.vessel union select imo_number from newer.record.vessel"
    if asked.vessel and (asked.vessel,) not in con.execute(known).fetchall():
        raise UserError("unknown-vessel-asked", imo_number=asked.vessel, db=f"the store {asked.store}")


def _write_ledger(con: duckdb.DuckDBPyConnection, ledger: list[ReceivedFile], asked: Asked) -> None:
    """change.asked, change.receipt and change.withdrawal: what the ledger tells of the time between the two moments."""
    earlier, later = (write_time(moment) if moment else None for moment in asked.moments)
    con.execute(
        "create table change.asked (earlier timestamp, later timestamp, as_of date, vessel varchar, has_own_rules boolean)"
    )
    has_own = any(Store(asked.store).rules().values())
    con.execute(
        "insert into change.asked values (?, ?, ?, ?, ?)", [*map(_utc, asked.moments), asked.as_of, asked.vessel, has_own]
    )
    con.execute(
        "create table change.receipt (file_id varchar, path varchar, version integer, received_at timestamp, is_between boolean, "
        "withdrawn_now_why varchar, taken_back varchar)"
    )
    con.execute(
        "create table change.withdrawal (path varchar, version integer, what varchar, happened_at timestamp, why varchar)"
    )
    for file in ledger:
        came = datetime.fromisoformat(file.received_at)
        is_between = file.received_at > earlier and (later is None or file.received_at <= later)
        then, now = file.withdrawal(earlier), file.withdrawal(later)
        back = f"withdrawal taken back {then.until[:10]}, which had been: {then.why}" if then and not now else None
        row = [file.file_id, file.path, file.version, _utc(came), is_between, now.why if now and not then else None, back]
        con.execute("insert into change.receipt values (?, ?, ?, ?, ?, ?, ?)", row)
        for item in file.withdrawals:
            for what, at in (("withdrawn", item.at), ("taken back", item.until)):
                if at and at > earlier and (later is None or at <= later):
                    row = [file.path, file.version, what, _utc(datetime.fromisoformat(at)), item.why]
                    con.execute("insert into change.withdrawal values (?, ?, ?, ?, ?)", row)


def _utc(moment: datetime | None) -> datetime | None:
    return moment.astimezone(UTC).replace(tzinfo=None) if moment else None


def write_cells(changes: Path) -> str:
    """Every cell that differs as CSV, guarded against formulas: then, now, why, and the records behind both."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(HEADER)
    with duckdb.connect(str(changes), read_only=True, config=dict(CONNECTION)) as con:
        for row in con.execute(CELLS_SQL).fetchall():
            writer.writerow(["" if cell is None else guard(str(cell)) for cell in row])
    return out.getvalue()
