"""New exports into the store. In: folders of exports and the store. Out: what is received, old and new, to build from.

Bytes are kept at once; the ledger and the dialects are written by `confirm` after the run succeeded, and where it failed
`forget` takes the bytes back.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from pipeline.errors import UserError
from pipeline.intake.folder import Folder, read_folder
from pipeline.intake.received import stamp_now
from pipeline.intake.store import ReceivedFile, Store, sort_received


@dataclass(frozen=True)
class Intake:
    """The ledger as it will be, the dialects of the folders given this time, and notes for the user."""

    ledger: tuple[ReceivedFile, ...]
    folders: tuple[Folder, ...]
    notes: tuple[str, ...]

    def confirm(self, store: Store) -> None:
        """Write down what was received, now that it was used."""
        for folder in self.folders:
            store.write_dialects(folder.name, folder.dialects)
        store.write_ledger(list(self.ledger))


def receive_exports(paths: list[Path], store: Store, added: set[str], now: datetime | None = None) -> Intake:
    """Read the folders and keep every export's bytes, the new ones noted in `added`.

    A file is new if its content differs from the newest under its path. Its time of receipt is that declared in the
    folder's received.csv, else `now`. Raises UserError same-name, store-damaged and those of folder.py.
    """
    folders = [read_folder(path, store.root) for path in dict.fromkeys(path.resolve() for path in paths)]
    names = [folder.name for folder in folders]
    for name in names:
        if names.count(name) > 1:
            raise UserError("same-name", name=name)
    known = store.ledger()
    newest: dict[str, ReceivedFile] = {}
    for file in known:
        if file.path not in newest or newest[file.path].version < file.version:
            newest[file.path] = file
    ledger = {(file.path, file.version): file for file in known}
    for folder in folders:
        for file in _receive_folder(folder, store, added, newest, now or datetime.now(UTC)):
            ledger[file.path, file.version] = file
    files = sort_received(list(ledger.values()))
    store.check_kept(files)
    notes = [note for folder in folders for note in folder.notes] + _note_earlier(files, names)
    return Intake(tuple(files), tuple(folders), tuple(notes))


def _note_earlier(files: list[ReceivedFile], names: list[str]) -> list[str]:
    """What the store holds of folders that were not given this time: it counts, which a user may not expect."""
    earlier = sorted({file.folder for file in files} - set(names))
    if not earlier:
        return []
    count = sum(file.folder in earlier for file in files)
    shown = ", ".join(earlier[:5]) + (f" and {len(earlier) - 5} more" if len(earlier) > 5 else "")
    return [f"the store also holds {count:,} files received earlier, and they count: {shown}"]


def _receive_folder(folder: Folder, store: Store, added: set[str], newest: dict[str, ReceivedFile], now: datetime):
    """Yield each export that is new, or whose declared time of receipt changed."""
    for path in folder.exports:
        inner = folder.inner_path(path)
        try:
            data = path.read_bytes()
        except OSError as error:
            raise UserError("unreadable-file", path=path, why=error.strerror) from error
        digest = store.keep(data, added)
        receipt = folder.declared.get(inner)
        before = newest.get(f"{folder.name}/{inner}")
        if before is not None and before.sha256 == digest:
            if receipt is not None:
                yield replace(before, received_at=receipt.received_at, received_on=receipt.received_on)
            continue
        stamp = receipt or stamp_now(now)
        version = before.version + 1 if before else 1
        yield ReceivedFile(f"{folder.name}/{inner}", digest, len(data), stamp.received_at, stamp.received_on, version)
