"""One run at a time on a store. In: the store's folder. Out: the store, locked while the block runs.

Whoever gets the lock first takes away what a killed run left: nobody else can be writing there.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

from pipeline.errors import UserError
from pipeline.intake.leftovers import list_unreceived, sweep_parts
from pipeline.intake.store import Store
from pipeline.lock import Held, hold_lock


@contextmanager
def locked_store(root: Path) -> Iterator[Store]:
    """Yield the store, made if it is not there; one that no run has used yet is not left behind.

    Raises UserError store-busy or cannot-write.
    """
    is_new, store = not root.exists(), Store(root)
    with ExitStack() as stack:
        try:
            root.mkdir(parents=True, exist_ok=True)
            stack.enter_context(hold_lock(root / ".lock"))
            if is_new:
                stack.callback(_remove_unused, root)  # while it is held: afterwards the folder may be another run's
            _sweep(store)
        except Held as error:
            raise UserError("store-busy", store=root, holder=error) from error
        except OSError as error:
            raise UserError("cannot-write", path=root, why=error.strerror or error) from error
        yield store


def _sweep(store: Store) -> None:
    """Leave the store as its ledger has it. Raises OSError."""
    sweep_parts(store.root)
    store.forget(list_unreceived(store.root))


def _remove_unused(root: Path) -> None:
    """Take away a store that this run made and did not use; where an open file can't go, its lock stays."""
    if not (root / "received.json").exists():
        shutil.rmtree(root, ignore_errors=True)
