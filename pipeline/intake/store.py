"""The store: every export as received, addressed by its SHA-256, and a ledger of what came when.

In: folders of exports. Out: the ledger of received files, with the folder's own dialects kept beside them.
The kept bytes are the truth: a database is only ever built from them.
"""

from __future__ import annotations

import hashlib
import json
import os
import tomllib
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from fnmatch import fnmatchcase
from pathlib import Path

from pipeline.errors import UserError
from pipeline.intake.received import read_received

EXPORT_ENDINGS = (".csv", ".tsv", ".txt")
RECEIVED = "received.csv"
SETTINGS = "exports.toml"


@dataclass(frozen=True)
class ReceivedFile:
    """One file as it came: `path` starts with its folder's name; `received_at` is UTC, ISO 8601."""

    path: str
    sha256: str
    bytes: int
    received_at: str
    is_declared: bool

    @property
    def file_id(self) -> str:
        """Short, stable name of this content under this path (first 12 hex digits of a SHA-256)."""
        return hashlib.sha256(f"{self.path}\0{self.sha256}".encode()).hexdigest()[:12]

    @property
    def folder(self) -> str:
        return self.path.split("/", 1)[0]

    @property
    def inner_path(self) -> str:
        """Path relative to the folder of exports: what dialects match."""
        return self.path.split("/", 1)[1]


@dataclass(frozen=True)
class Store:
    """Where a fleet's exports are kept."""

    root: Path

    def open_file(self, received: ReceivedFile) -> bytes:
        """The bytes as received. Raises UserError store-damaged if they changed since."""
        path = self.root / "files" / received.sha256
        try:
            data = path.read_bytes()
        except OSError as error:
            raise UserError("store-damaged", path=path, why=error.strerror) from error
        if hashlib.sha256(data).hexdigest() != received.sha256:
            raise UserError("store-damaged", path=path, why="its checksum differs from its name")
        return data

    def ledger(self) -> list[ReceivedFile]:
        """Every file received so far, oldest first, ties by path."""
        path = self.root / "received.json"
        if not path.exists():
            return []
        try:
            entries = json.loads(path.read_text(encoding="utf-8"))
            return sort_received(ReceivedFile(**entry) for entry in entries)
        except (OSError, ValueError, TypeError) as error:
            raise UserError("store-damaged", path=path, why=error) from error

    def dialect_files(self, folder: str) -> list[Path]:
        """The dialects that came with that folder, by name."""
        return sorted((self.root / "dialects" / folder).glob("*.toml"))


def sort_received(received) -> list[ReceivedFile]:
    """Oldest first; ties by path, then content, so that no order depends on the disk."""
    return sorted(received, key=lambda file: (file.received_at, file.path, file.sha256))


def replace_file(path: Path, data: bytes) -> None:
    """Write the whole file or nothing: a crash leaves the old one. Raises UserError cannot-write."""
    temporary = path.with_name(f"{path.name}.{os.getpid()}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with open(temporary, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.replace(temporary, path)
    except OSError as error:
        temporary.unlink(missing_ok=True)
        raise UserError("cannot-write", path=path, why=error.strerror) from error


def keep_exports(folders: list[Path], store: Store, now: datetime | None = None) -> list[ReceivedFile]:
    """Keep every export of the folders in the store and return the whole ledger.

    A file counts as new when this content was not yet known under this path. Its time of receipt is that declared
    in the folder's received.csv, else `now` (UTC).
    """
    stamp = (now or datetime.now(UTC)).strftime("%Y-%m-%dT%H:%M:%SZ")
    ledger = {(file.path, file.sha256): file for file in store.ledger()}
    given: dict[str, str] = {}
    for folder in folders:
        for file in _scan_folder(folder, store, stamp):
            if given.setdefault(file.path, file.sha256) != file.sha256:
                raise UserError("same-path", path=file.path)
            known = ledger.get((file.path, file.sha256))
            if known is None or file.is_declared:
                ledger[(file.path, file.sha256)] = file
        _keep_dialects(folder, store)
    files = sort_received(ledger.values())
    text = json.dumps([asdict(file) for file in files], indent=1)
    replace_file(store.root / "received.json", text.encode())
    return files


def _scan_folder(folder: Path, store: Store, stamp: str):
    """Yield each export of the folder as received, its bytes kept in the store."""
    if not folder.is_dir():
        raise UserError("no-folder", folder=folder)
    name = folder.resolve().name
    declared = read_received(folder / RECEIVED)
    paths = list_exports(folder)
    if not paths:
        raise UserError("empty-folder", folder=folder)
    for path in paths:
        inner = path.relative_to(folder).as_posix()
        try:
            data = path.read_bytes()
        except OSError as error:
            raise UserError("unreadable-file", path=path, why=error.strerror) from error
        digest = hashlib.sha256(data).hexdigest()
        kept = store.root / "files" / digest
        if not kept.exists():
            replace_file(kept, data)
        when = declared.get(inner)
        yield ReceivedFile(f"{name}/{inner}", digest, len(data), when or stamp, when is not None)


def list_exports(folder: Path) -> list[Path]:
    """The files of a folder that hold exports, in order of their path; hidden and ignored files left out."""
    ignored = read_ignored(folder)
    found = []
    for path in folder.rglob("*"):
        inner = path.relative_to(folder)
        if path.suffix.lower() not in EXPORT_ENDINGS or not path.is_file() or inner.as_posix() == RECEIVED:
            continue
        if any(part.startswith(".") for part in inner.parts):
            continue
        if not any(fnmatchcase(inner.as_posix(), pattern) for pattern in ignored):
            found.append(path)
    return sorted(found, key=lambda path: path.relative_to(folder).as_posix())


def read_ignored(folder: Path) -> list[str]:
    """Globs of exports.toml that name files which are no data."""
    path = folder / SETTINGS
    if not path.exists():
        return []
    try:
        settings = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise UserError("bad-dialect", file=path, key="(whole file)", why=f"is not TOML: {error}") from error
    for key in settings:
        if key != "ignore":
            raise UserError("bad-dialect", file=path, key=key, why="is not known; exports.toml takes `ignore`")
    return list(settings.get("ignore", []))


def _keep_dialects(folder: Path, store: Store) -> None:
    """Keep the folder's dialects as they are now: the latest reading applies to all its files."""
    source = folder / "dialects"
    target = store.root / "dialects" / folder.resolve().name
    names = {path.name for path in source.glob("*.toml")}
    for name in sorted(names):
        replace_file(target / name, (source / name).read_bytes())
    for old in target.glob("*.toml"):
        if old.name not in names:
            old.unlink()
