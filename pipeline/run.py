"""START HERE: the main job as one function. In: folders of exports and a day. Out: a database of figures.

exports -> intake -> checks -> warehouse -> duties -> figures -> pages (written by whoever calls, from the finished file)
"""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import partial
from pathlib import Path

import duckdb

from pipeline import contract
from pipeline.checks.flags import flag_records
from pipeline.checks.quarantine import check_table, fill_raw, quarantine_broken
from pipeline.duties.build import build_duties
from pipeline.duties.rule_book import read_rule_book
from pipeline.engines import check_engine, open_engine
from pipeline.errors import UserError
from pipeline.figures.build import build_figures
from pipeline.figures.prices import part_prices, read_prices
from pipeline.intake.corrections import Correction, find_corrections
from pipeline.intake.dialect import Dialect
from pipeline.intake.lock import locked_store
from pipeline.intake.match import match_dialects
from pipeline.intake.parse import Parsed, parse_file
from pipeline.intake.receive import receive_exports
from pipeline.intake.received import write_time
from pipeline.intake.stage import drop_stage, stage_files
from pipeline.intake.store import ReceivedFile, Store
from pipeline.warehouse.build import build_database, check_database, limit_memory, open_scratch, spill_place
from pipeline.warehouse.later import compare_later_files
from pipeline.warehouse.load import account_files, load_table
from pipeline.warehouse.provenance import write_column_sources, write_declared, write_run
from pipeline.warehouse.summary import Summary, read_summary

Progress = Callable[[str], None]
# Takes the path of a finished database, writes pages from it, and returns what puts them in place.
PageWriter = Callable[[Path], Callable[[], object]]
READERS = 2
ParsedFile = tuple[ReceivedFile, Dialect, Parsed]


@dataclass(frozen=True)
class RunOptions:
    """What to run on. `known_at` None means every file received, `as_of` None means today in UTC.

    A trial run reads the store but leaves its ledger as it is: the folders' files are not received. Where no register is
    needed, tables may be missing, and rows are put aside as of an unknown vessel or unit. A store that `is_part` of one need
    not hold every file that a declared correction speaks of. `keep_validation` takes each table's name and what
    great-expectations reports of it. `figures` None means all. `memory` is what DuckDB may hold, as in '2GB' (None: half of the machine).
    `engine` (duckdb, spark) runs the SQL of duties and figures; `master` is the address of Spark's.
    """

    folders: tuple[Path, ...]
    store: Path = Path(".firekpi")
    db: Path = Path("firekpi.duckdb")
    as_of: date | None = None
    known_at: datetime | None = None
    is_trial: bool = False
    needs_register: bool = True
    is_part: bool = False
    keep_validation: Callable[[str, dict], None] | None = None
    figures: tuple[str, ...] | None = None
    memory: str | None = None
    engine: str = "duckdb"
    master: str = "local[*]"


def run(options: RunOptions, tell: Progress = lambda stage: None, write_pages: PageWriter | None = None) -> Summary:
    """Build the database of all exports in the store, the given folders' new ones included, and swap it in.

    `write_pages` is called with the finished file before it is published. Only when all is ready is anything replaced:
    first the ledger, then the database, then the pages, so that nothing published rests on a file that is not in the ledger.
    Raises UserError for whatever the user can mend; the last good database and pages are then untouched.
    """
    as_of = options.as_of or datetime.now(UTC).date()
    started_at = datetime.now(UTC)
    check_engine(options.engine, options.master)
    check_database(options.db)
    with locked_store(options.store) as store, take_back_if_unused(store) as added:
        tell("keeping the exports")
        intake = receive_exports(list(options.folders), store, added)
        rules, priced = part_prices(intake.rule_files(store))
        book, prices = read_rule_book(rules), read_prices(priced)
        known = known_by(intake.ledger, options.known_at)
        corrections = find_corrections(store, known, options.is_part)
        files = [file for file in known if not file.is_corrections]
        tell(f"reading {len(files):,} files")
        matched = match_dialects(intake, files, store)
        threading.Thread(target=import_checks).start()
        parsed = read_files(store, matched, corrections, options.db, options.memory)
        with build_database(options.db, options.memory) as build:
            tell("checking and loading the rows")
            if options.needs_register:
                need_tables(parsed)
            load_records(build.con, parsed, store, options.keep_validation)
            # before the figures: the watch list asks what was known before a cell was corrected
            write_declared(build.con, intake.ledger, options.known_at, corrections)
            write_column_sources(build.con, matched)
            with one_transaction(build.con), open_engine(options.engine, options.master, spark_folder(build.part)) as engine:
                tell("working out what was due when")
                build_duties(build.con, book, engine)
                tell("computing the figures")
                build_figures(build.con, as_of, prices, options.figures, engine)
            write_run(build.con, started_at, as_of, options.known_at, book.fingerprint)
            summary = read_summary(build.con, intake.notes)
            build.con.close()
            publish_pages = lay_out_pages(build.part, tell, write_pages)
            with not_interrupted():
                check_database(options.db)  # again, before the ledger: another program may have opened it meanwhile
                if not options.is_trial:
                    intake.confirm(store)
                    added.clear()
                build.swap_in()
                put_pages_in_place(publish_pages, options.db)
    return summary


def import_checks() -> None:
    """The import of great-expectations takes two seconds: not waited for where a run is refused, and done while files are read."""
    import pipeline.checks.gx_duckdb  # noqa: F401


def spark_folder(part: Path) -> Path:
    """Where Spark's tables lie while it runs: beside the database, which a cluster's machines must then see under one path."""
    return part.with_name(f"{part.name}.spark")


@contextmanager
def one_transaction(con: duckdb.DuckDBPyConnection) -> Iterator[None]:
    """Commit once: each commit waits for the disk, and the rules and figures are several hundred statements."""
    con.begin()
    yield
    con.commit()


@contextmanager
def not_interrupted() -> Iterator[None]:
    """Hold back Ctrl-C while what is published is replaced: three short steps that belong together."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    kept = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, kept)


def put_pages_in_place(publish_pages: Callable[[], object], db: Path) -> None:
    """The last step. Raises UserError pages-behind where the pages can't follow the database."""
    try:
        publish_pages()
    except (OSError, UserError) as error:
        raise UserError("pages-behind", db=db, why=error) from error


@contextmanager
def take_back_if_unused(store: Store) -> Iterator[set[str]]:
    """Yield a set for the bytes that this run keeps; those still in it at the end were not received and are taken back."""
    added: set[str] = set()
    try:
        yield added
    finally:
        store.forget(added)


def lay_out_pages(db: Path, tell: Progress, write_pages: PageWriter | None) -> Callable[[], object]:
    """Write the pages from the finished database; returns the step that puts them in place."""
    if write_pages is None:
        return lambda: None
    tell("writing the pages")
    return write_pages(db)


def known_by(ledger: tuple[ReceivedFile, ...], known_at: datetime | None) -> list[ReceivedFile]:
    """The files received by `known_at` (None: now) and not withdrawn then. Raises UserError nothing-known."""
    moment = write_time(known_at) if known_at else None
    files = [file for file in ledger if (moment is None or file.received_at <= moment) and not file.withdrawal(moment)]
    if all(file.is_corrections for file in files):
        raise UserError("nothing-known", known_at=known_at or "now")
    return files


def read_files(
    store: Store,
    matched: list[tuple[ReceivedFile, Dialect]],
    corrections: dict[str, tuple[Correction, ...]],
    db: Path | None = None,
    memory: str | None = None,
) -> list[ParsedFile]:
    """Parse every file with its dialect and corrections, from the cache where nothing changed; what DuckDB can't hold goes beside `db`."""
    con = open_scratch()
    try:
        if db is not None:
            limit_memory(con, memory, spill_place(db))
        parsed = read_side_by_side(store, matched, corrections, con)
        for file, dialect in matched:  # sheets are read as the files that they answer were
            if parsed[file.file_id] is None:
                earlier = {file_id: done for file_id, done in parsed.items() if done is not None}
                parsed[file.file_id] = parse_file(store, file, dialect, con, corrections.get(file.file_id, ()), earlier)
        return [(file, dialect, parsed[file.file_id]) for file, dialect in matched]
    except duckdb.OutOfMemoryException as error:
        raise UserError("out-of-memory", memory=memory or "the half of it") from error
    finally:
        con.close()


def read_side_by_side(store: Store, matched: list, corrections: dict, con: duckdb.DuckDBPyConnection) -> dict[str, Parsed | None]:
    """Each file but sheets not read before (None), two at a time: a file of an ordinary size keeps one core busy.

    Of several files that can't be read the first is named, whichever thread was faster.
    """
    local = threading.local()

    def read(item: tuple[ReceivedFile, Dialect]) -> Parsed | None:
        file, dialect = item
        local.con = getattr(local, "con", None) or con.cursor()
        return parse_file(store, file, dialect, local.con, corrections.get(file.file_id, ()))

    with ThreadPoolExecutor(READERS) as pool:
        try:
            return dict(zip((file.file_id for file, _ in matched), pool.map(read, matched), strict=True))
        except BaseException:
            pool.shutdown(cancel_futures=True)
            raise


def load_records(
    con: duckdb.DuckDBPyConnection,
    parsed: list[ParsedFile],
    store: Store,
    keep_validation: Callable[[str, dict], None] | None = None,
) -> None:
    """Check and load table by table, parents first, then prove that every row is accounted for."""
    from pipeline.checks.gx_duckdb import count_failing  # late: see import_checks

    count = partial(count_failing, keep=keep_validation) if keep_validation else count_failing
    stage_files(con, parsed)
    for table in contract.tables().values():
        check_table(con, table, count)
        load_table(con, table)
    flag_records(con)
    quarantine_broken(con)
    account_files(con)
    compare_later_files(con)
    fill_raw(con, parsed, store)
    drop_stage(con)


def need_tables(parsed: list[ParsedFile]) -> None:
    """Stop if no file gives a table without which nothing can be counted. Raises UserError needed-table-missing."""
    given = {table for _, _, result in parsed for table, _, _ in result.feeds}
    for table in contract.tables().values():
        if table.is_needed and table.name not in given:
            raise UserError("needed-table-missing", table=table.name)
