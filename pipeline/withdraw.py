"""Withdraw a received file: it stays in the store, and does not count from then on. In: its path. Out: lines to print.

Nothing is erased: as known before the withdrawal the file still counts, and a withdrawal can be taken back.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from pipeline.errors import UserError
from pipeline.intake.lock import locked_store
from pipeline.intake.received import write_time
from pipeline.intake.store import ReceivedFile, Withdrawal


def withdraw_file(root: Path, path: str, why: str, version: int | None = None) -> list[str]:
    """Withdraw every version of the path that counts, or the one named.

    Raises UserError not-received, already-withdrawn and those of the store.
    """

    def withdraw(file: ReceivedFile, now: str) -> ReceivedFile | None:
        if file.withdrawal(None):
            return None
        return replace(file, withdrawals=(*file.withdrawals, Withdrawal(now, why)))

    changed, files = _change_ledger(root, path, version, withdraw)
    if not changed:
        raise UserError("already-withdrawn", path=path, since=files[-1].withdrawal(None).at)
    lines = [f"withdrawn: {_name(file)}" for file in changed]
    return lines + ["It does not count from the next run on; --known-at an earlier time still counts it. The file is kept."]


def take_back_withdrawal(root: Path, path: str, version: int | None = None) -> list[str]:
    """Let withdrawn versions of the path count again from now on. Raises UserError not-received, not-withdrawn."""

    def take_back(file: ReceivedFile, now: str) -> ReceivedFile | None:
        if not file.withdrawal(None):
            return None
        return replace(file, withdrawals=tuple(item if item.until else replace(item, until=now) for item in file.withdrawals))

    changed, _ = _change_ledger(root, path, version, take_back)
    if not changed:
        raise UserError("not-withdrawn", path=path)
    return [f"counts again from the next run on: {_name(file)}" for file in changed]


def _change_ledger(
    root: Path, path: str, version: int | None, change: Callable[[ReceivedFile, str], ReceivedFile | None]
) -> tuple[list[ReceivedFile], list[ReceivedFile]]:
    """Apply `change` to the versions of the path; returns the changed and all of them."""
    if not (root / "received.json").exists():
        raise UserError("not-received", path=path, store=root, near="")
    with locked_store(root) as store:
        ledger = store.ledger()
        files = [file for file in ledger if file.path == path and version in (None, file.version)]
        if not files:
            raise UserError("not-received", path=path, store=root, near=_near(path, version, ledger))
        # A clock set back must not put the withdrawal before the receipt.
        now = max(write_time(datetime.now(UTC)), *(file.received_at for file in ledger))
        changes = {file: changed for file in files if (changed := change(file, now))}
        if changes:
            store.write_ledger([changes.get(file, file) for file in ledger], store.dialects(), store.rules())
    return list(changes.values()), files


def _near(path: str, version: int | None, ledger: list[ReceivedFile]) -> str:
    """What may have been meant: the versions there are, or the paths that look alike."""
    there = [str(file.version) for file in ledger if file.path == path]
    if there:
        return f"; there is no version {version} of it, only {', '.join(there)}"
    paths = sorted({file.path for file in ledger})
    alike = [name for name in paths if name.endswith(f"/{path}")] or difflib.get_close_matches(path, paths, 3)
    return f"; did you mean {' or '.join(alike[:3])}?" if alike else ""


def _name(file: ReceivedFile) -> str:
    return f"{file.path}, version {file.version}, received {file.received_at}"
