"""One holder at a time, and who it is. In: the path of a lock file. Out: the lock, held while the block runs.

The lock is the operating system's and ends with its process, however that ends. Beside it lies a note of who holds it,
which only serves to say so: a note whose writer is gone counts for nothing.
"""

from __future__ import annotations

import json
import os
import platform
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path

from filelock import FileLock, Timeout

# Long enough for a holder that is just leaving, and for the note of one that has just come.
PATIENCE_S = 0.3


class Held(Exception):
    """Somebody else holds the lock; the text says who, as far as that is known."""


@contextmanager
def hold_lock(path: Path) -> Iterator[None]:
    """Hold the lock while the block runs. Raises Held, and OSError where the lock file can't be written."""
    lock = FileLock(path)
    try:
        lock.acquire(timeout=PATIENCE_S)
    except Timeout as error:
        raise Held(_read_holder(note_path(path))) from error
    try:
        _write_note(note_path(path))
        yield
    finally:
        with suppress(OSError):
            note_path(path).unlink(missing_ok=True)
        lock.release()


def note_path(lock: Path) -> Path:
    """Where the holder of this lock says who it is."""
    return lock.with_name(f"{lock.name}.holder")


def remove_lock(lock: Path) -> None:
    """Take the lock file away while it is held, so that nothing is left; where an open file can't go, it stays.

    Whoever waits on the file that was taken away finds that it is no longer there and starts afresh (filelock's doing).
    """
    with suppress(OSError):
        lock.unlink(missing_ok=True)


def is_running(process: int) -> bool:
    """Whether another process of this number runs. Where that can't be asked without harm, it is taken to run."""
    if process == os.getpid():
        return False
    if os.name != "posix":
        return True
    try:
        os.kill(process, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except PermissionError:
        return True
    return True


def _write_note(path: Path) -> None:
    """Say who holds the lock and since when. A note that can't be written, on a full disk, is no reason to stop."""
    command = " ".join([Path(sys.argv[0]).name, *sys.argv[1:]])
    note = {"process": os.getpid(), "host": platform.node(), "since": f"{datetime.now(UTC):%Y-%m-%d %H:%M:%S} UTC"}
    with suppress(OSError):
        path.write_text(json.dumps(note | {"command": command[:120]}), encoding="utf-8")


def _read_holder(path: Path) -> str:
    """Who holds the lock. A note of a process that has ended is an earlier holder's: wait for that of the present one."""
    until = time.monotonic() + PATIENCE_S
    while True:
        try:
            note = json.loads(path.read_text(encoding="utf-8"))
            elsewhere = note["host"] != platform.node()
            if elsewhere or note["process"] == os.getpid() or is_running(note["process"]):
                where = f" on {note['host']}" if elsewhere else ""
                return f"process {note['process']}{where}, {note['command']!r}, since {note['since']}"
        except (OSError, ValueError, KeyError, TypeError):
            pass
        if time.monotonic() > until:
            return "another process"
        time.sleep(0.02)
