"""Build into a new file, then swap it in: a crash leaves the old database whole, readers are never blocked.

In: the path of the database. Out: a `Build` beside it, which takes its place when all is done.
"""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

import duckdb

from pipeline import contract
from pipeline.errors import UserError
from pipeline.lock import Held, hold_lock, remove_lock
from pipeline.statements import read_sql

# Nothing is fetched or guessed: an extension that is missing is an error, not a download.
CONNECTION = {"autoinstall_known_extensions": "false", "autoload_known_extensions": "false"}


MOST_MEMORY = "50%"  # of the machine


def open_scratch() -> duckdb.DuckDBPyConnection:
    """A connection in memory, for parsing."""
    return _prepare(duckdb.connect(config=dict(CONNECTION)))


def limit_memory(con: duckdb.DuckDBPyConnection, memory: str | None, folder: Path) -> None:
    """What DuckDB may hold at once, as it writes it ('2GB', '25%'; None: half of the machine); beyond, it writes to the folder.

    Python, numpy and what great-expectations loads come on top, some 300 MB. Raises UserError bad-memory, out-of-memory.
    """
    asked = memory or MOST_MEMORY
    if not re.fullmatch(r"[0-9]+(\.[0-9]+)? ?(%|[kmgt]i?b)", asked.lower()):  # DuckDB takes a negative size for no limit
        raise UserError("bad-memory", value=asked)
    try:
        con.execute("set memory_limit = $memory", {"memory": asked})
    except duckdb.OutOfMemoryException as error:
        raise UserError("out-of-memory", memory=asked) from error
    except duckdb.Error as error:
        raise UserError("bad-memory", value=asked) from error
    con.execute("set temp_directory = $folder", {"folder": str(folder)})


def spill_place(db: Path) -> Path:
    """Beside the database, under a name that is swept with what a build leaves."""
    part = _part(db.resolve())
    return part.with_name(f"{part.name}.tmp")


def _part(db: Path) -> Path:
    return db.with_name(f"{db.name}.{os.getpid()}.part")


def _prepare(con: duckdb.DuckDBPyConnection) -> duckdb.DuckDBPyConnection:
    """No time zone of the host, no progress bar in the user's pipe."""
    con.execute("set TimeZone = 'UTC'")
    con.execute("set enable_progress_bar = false")
    return con


@dataclass
class Build:
    """A database being built beside the one it is to replace."""

    con: duckdb.DuckDBPyConnection
    part: Path
    db: Path

    def swap_in(self) -> None:
        """Close it and put it in the old one's place, in one step. Raises UserError database-busy, cannot-write."""
        self.con.close()
        check_database(self.db)
        try:
            os.replace(self.part, self.db)
        except PermissionError as error:
            raise UserError("database-busy", db=self.db, holder="it can't be replaced") from error
        except OSError as error:
            raise UserError("cannot-write", path=self.db, why=_first_line(error)) from error


@contextmanager
def build_database(db: Path, memory: str | None = None) -> Iterator[Build]:
    """Yield a new database with the schema, to be filled, closed and swapped in; what is not swapped in is removed. memory: limit_memory.

    One build at a time on a database, whatever store it is built from: the other is told who is at it.
    Raises UserError database-busy, not-our-database or cannot-write; the old database is then untouched.
    """
    check_database(db)
    db = db.resolve()  # a link keeps leading to the database
    part = _part(db)
    with _locked_database(db):
        con = None
        try:
            con = _prepare(duckdb.connect(str(part), config=dict(CONNECTION)))
            limit_memory(con, memory, spill_place(db))
            con.execute(contract.macros_sql())
            con.execute(read_sql("pipeline.warehouse", "schema"))
            yield Build(con, part, db)
        except duckdb.OutOfMemoryException as error:
            raise UserError("out-of-memory", memory=memory or MOST_MEMORY) from error
        except duckdb.Error as error:
            if not _could_not_write(error):
                raise
            raise UserError("cannot-write", path=db, why=_first_line(error)) from error
        finally:
            with suppress(duckdb.Error):  # closing writes, which fails again where the disk is full
                if con is not None:
                    con.close()
            with suppress(OSError):  # the next run sweeps it
                _sweep_parts(db)


@contextmanager
def _locked_database(db: Path) -> Iterator[None]:
    """Hold `<db>.lock` while building, and sweep parts first: under the lock each is of a run that has ended."""
    lock = db.with_name(f"{db.name}.lock")
    with ExitStack() as stack:
        try:
            db.parent.mkdir(parents=True, exist_ok=True)
            stack.enter_context(hold_lock(lock))
            stack.callback(remove_lock, lock)
            _sweep_parts(db)
        except Held as error:
            raise UserError("database-busy", db=db, holder=error) from error
        except OSError as error:
            raise UserError("cannot-write", path=db, why=_first_line(error)) from error
        yield


def _sweep_parts(db: Path) -> None:
    """Remove what builds have left: the file, its log, and the folders of DuckDB's spilling and of Spark's tables. Raises OSError."""
    pattern = re.compile(re.escape(db.name) + r"\.\d+\.part(\.wal|\.tmp|\.spark)?")
    for path in [path for path in db.parent.iterdir() if pattern.fullmatch(path.name)]:
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path)
        else:
            path.unlink()


def _could_not_write(error: duckdb.Error) -> bool:
    """Whether the disk took no more: an IOException, or a commit that failed because its log could not grow."""
    words = ("No space left", "Could not write", "File too large")
    return isinstance(error, duckdb.IOException) or any(word in str(error) for word in words)


def check_database(db: Path) -> None:
    """Refuse to replace a database that another process is writing, a write-protected one, and a file that isn't ours."""
    look_at_database(db)
    if db.exists() and not os.access(db, os.W_OK):
        raise UserError("cannot-write", path=db, why="it is write-protected")


def look_at_database(db: Path) -> None:
    """Refuse a database that another process is writing, and a file that isn't ours."""
    if not db.exists():
        return
    if not db.is_file():
        raise UserError("not-our-database", db=db)
    try:
        con = duckdb.connect(str(db), read_only=True, config=dict(CONNECTION))
    except duckdb.IOException as error:
        if "lock" in str(error).lower() or "being used" in str(error).lower():
            raise UserError("database-busy", db=db, holder=_holder(error)) from error
        raise UserError("not-our-database", db=db) from error
    except duckdb.Error as error:
        raise UserError("not-our-database", db=db) from error
    try:
        con.execute("select run_id from intake.run")
    except duckdb.CatalogException as error:
        raise UserError("not-our-database", db=db) from error
    finally:
        con.close()


def _holder(error: Exception) -> str:
    """The process that holds the file, as far as DuckDB tells."""
    found = re.search(r"PID (\d+)", str(error))
    return f"process {found[1]}" if found else "another program"


def _first_line(error: Exception) -> str:
    return getattr(error, "strerror", None) or str(error).splitlines()[0]


@contextmanager
def read_database(db: Path) -> Iterator[duckdb.DuckDBPyConnection]:
    """A finished database, to read. Raises UserError no-database, database-busy or not-our-database."""
    if not db.exists():
        raise UserError("no-database", db=db)
    look_at_database(db)
    with duckdb.connect(str(db), read_only=True, config=dict(CONNECTION)) as con:
        yield _prepare(con)
