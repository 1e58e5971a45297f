"""One run at a time on a store. In: the store's folder. Out: the store, locked while the block runs."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from filelock import FileLock, Timeout

from pipeline.errors import UserError
from pipeline.intake.store import Store


@contextmanager
def locked_store(root: Path) -> Iterator[Store]:
    """Yield the store, made if it is not there; one that no run has used yet is not left behind.

    Raises UserError store-busy or cannot-write.
    """
    is_new = not root.exists()
    try:
        root.mkdir(parents=True, exist_ok=True)
        lock = FileLock(root / ".lock")
        lock.acquire(timeout=0)
    except Timeout as error:
        raise UserError("store-busy", store=root) from error
    except OSError as error:
        raise UserError("cannot-write", path=root, why=error.strerror) from error
    try:
        yield Store(root)
    finally:
        lock.release()
        if is_new and not (root / "received.json").exists():
            shutil.rmtree(root, ignore_errors=True)
