"""New exports into the store. In: folders of exports and the store. Out: what is received, old and new, to build from.

Bytes are kept at once; the ledger, dialects included, is written by `confirm` after the run succeeded, and where it failed
`forget` takes the bytes back.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from pipeline.errors import UserError
from pipeline.intake.folder import Folder, read_folder
from pipeline.intake.plain_file import MOST_LIST_BYTES, read_plain_file
from pipeline.intake.received import Receipt, read_moment, stamp_now
from pipeline.intake.store import CORRECTIONS, ReceivedFile, Store, sort_received
from pipeline.intake.unpack import MOST_BYTES, is_packed, unpack


@dataclass(frozen=True)
class Intake:
    """The ledger as it will be, the dialects of the folders given this time, and notes for the user."""

    ledger: tuple[ReceivedFile, ...]
    folders: tuple[Folder, ...]
    notes: tuple[str, ...]

    def confirm(self, store: Store) -> None:
        """Write down what was received, now that it was used."""
        dialects = store.dialects() | {folder.name: folder.dialects for folder in self.folders}
        store.write_ledger(list(self.ledger), dialects, self._rules_by_folder(store))

    def rule_files(self, store: Store) -> dict[str, bytes]:
        """The company's own rule files: of the folders given this time, and of others as they were when last given."""
        by_folder = self._rules_by_folder(store)
        return {f"{name}/rules/{file}": data for name in sorted(by_folder) for file, data in by_folder[name].items()}

    def _rules_by_folder(self, store: Store) -> dict[str, dict[str, bytes]]:
        return store.rules() | {folder.name: folder.rules for folder in self.folders}


@dataclass(frozen=True)
class Arrival:
    """A file as it lies in a folder, or in an archive there: its path in the folder, kept bytes, and the archive's path."""

    inner: str
    sha256: str
    size: int
    container: str = ""
    archive: str = ""


def receive_exports(paths: list[Path], store: Store, added: set[str], now: datetime | None = None) -> Intake:
    """Read the folders and keep every export's bytes, the new ones noted in `added`.

    A file is new if its content differs from the newest under its path. Its time of receipt is that declared in the
    folder's received.csv, else `now`. Raises UserError same-name, store-damaged and those of folder.py and unpack.py.
    """
    folders = [read_folder(path, store.root) for path in dict.fromkeys(path.resolve() for path in paths)]
    names = [folder.name for folder in folders]
    for name in names:
        if names.count(name) > 1:
            raise UserError("same-name", name=name)
    known = store.ledger()
    versions: dict[str, list[ReceivedFile]] = {}
    for file in sorted(known, key=lambda file: file.version):
        versions.setdefault(file.path, []).append(file)
    stamp, notes = _read_clock(known, now or datetime.now(UTC))
    for folder in folders:
        notes += folder.notes
        for arrival in _list_arrivals(folder, store, added, notes):
            path = f"{folder.name}/{arrival.inner}"
            declared = folder.declared.get(arrival.inner) or folder.declared.get(arrival.archive)
            versions[path] = _place(path, arrival, versions.get(path, []), declared, stamp, notes)
        _drop_corrections(folder, versions, store, added, stamp, notes)
    files = sort_received([file for entries in versions.values() for file in entries])
    store.check_kept(files)
    return Intake(tuple(files), tuple(folders), tuple(notes + _note_earlier(files, names)))


def _drop_corrections(folder: Folder, versions: dict, store: Store, added: set[str], stamp: Receipt, notes: list[str]) -> None:
    """Corrections whose list was taken out of the folder count no more from now on: an empty version says so."""
    path = f"{folder.name}/{CORRECTIONS}"
    before = versions.get(path, [])
    if folder.corrections is None and before and before[-1].bytes:
        empty = Arrival(CORRECTIONS, store.keep(b"", added), 0)
        versions[path] = _place(path, empty, before, None, stamp, [])
        notes.append(f"{path} is no longer in the folder: what it declared counts no more from now on")


def _read_clock(known: list[ReceivedFile], now: datetime) -> tuple[Receipt, list[str]]:
    """The receipt of what comes now, never before what was received already: a clock set back must not turn the order of files."""
    stamp = stamp_now(now)
    latest = max(known, key=lambda file: file.received_at, default=None)
    if latest is None or latest.received_at <= stamp.received_at:
        return stamp, []
    note = (
        f"the clock of this machine ({stamp.received_at}) is behind the last receipt ({latest.received_at}, {latest.path}): "
        "files received now are taken as received then; set the clock, or declare the times in received.csv"
    )
    return stamp_now(read_moment(latest.received_at)), [note]


def _note_earlier(files: list[ReceivedFile], names: list[str]) -> list[str]:
    """What the store holds of folders that were not given this time: it counts, which a user may not expect."""
    earlier = sorted({file.folder for file in files} - set(names))
    if not earlier:
        return []
    count = sum(file.folder in earlier for file in files)
    shown = ", ".join(earlier[:5]) + (f" and {len(earlier) - 5} more" if len(earlier) > 5 else "")
    return [f"the store also holds {count:,} files received earlier, and they count: {shown}"]


def _list_arrivals(folder: Folder, store: Store, added: set[str], notes: list[str]) -> Iterator[Arrival]:
    """Keep each export of the folder, the members of archives one by one, and the declared corrections."""
    for path in [*folder.exports, *([folder.corrections] if folder.corrections else [])]:
        inner = folder.inner_path(path)
        data = read_plain_file(path, MOST_LIST_BYTES if inner == CORRECTIONS else MOST_BYTES)
        digest = store.keep(data, added)
        if not is_packed(inner):
            yield Arrival(inner, digest, len(data))
            continue
        for name, content in unpack(data, f"{folder.name}/{inner}"):
            member = f"{inner}/{name}" if name else inner
            if name and folder.ignores(member):
                continue
            if content is None:
                notes.append(f"not read, since it is no .csv, .tsv or .txt (unpack what is packed twice): {member}")
                continue
            yield Arrival(member, store.keep(content, added), len(content), digest, inner)


def _place(
    path: str, arrival: Arrival, before: list[ReceivedFile], declared: Receipt | None, stamp: Receipt, notes: list[str]
) -> list[ReceivedFile]:
    """The versions of a path once the file has come: a new one if its content differs from the newest."""
    newest = before[-1] if before else None
    if newest is not None and newest.sha256 == arrival.sha256:
        withdrawn = newest.withdrawal(None)
        if withdrawn:
            notes.append(f"{path} is withdrawn since {withdrawn.at} and does not count: {withdrawn.why}")
        if declared is None:
            return before
        before, file = before[:-1], replace(newest, received_at=declared.received_at, received_on=declared.received_on)
    else:
        receipt = declared or stamp
        version = newest.version + 1 if newest else 1
        file = ReceivedFile(
            path, arrival.sha256, arrival.size, receipt.received_at, receipt.received_on, version, arrival.container
        )
    if before and before[-1].received_at > file.received_at:
        notes.append(
            f"{path} is declared as received {file.received_at}, before version {before[-1].version} of it "
            f"({before[-1].received_at}); it is taken as received with that version, since it came after it"
        )
        file = replace(file, received_at=before[-1].received_at)
    return [*before, file]
