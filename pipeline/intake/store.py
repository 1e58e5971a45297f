"""The store: every export as received, addressed by its SHA-256, and a ledger of what came when.

The kept bytes are the truth: a database is only ever built from them. The ledger is written last, when a run has
succeeded, so that a file which could not be used is not received and can be mended or taken away.
"""

from __future__ import annotations

import hashlib
import json
import os
from contextlib import suppress
from dataclasses import asdict, dataclass, fields
from datetime import date, datetime
from pathlib import Path

from pipeline.errors import UserError
from pipeline.intake.leftovers import drop_note, note_unreceived

CORRECTIONS = "corrections.csv"


@dataclass(frozen=True)
class Withdrawal:
    """A time during which a file does not count: from `at`, and until `until` if it was taken back. UTC, ISO 8601."""

    at: str
    why: str
    until: str = ""


@dataclass(frozen=True)
class ReceivedFile:
    """One file as it came. `path` starts with its folder's name; `received_at` is UTC, ISO 8601.

    `received_on` is the calendar day of receipt where the sender is: what a record's date may not lie after.
    `version` counts the contents that came under this path. `container` is the SHA-256 of the .gz or .zip it came in.
    """

    path: str
    sha256: str
    bytes: int
    received_at: str
    received_on: str
    version: int
    container: str = ""
    withdrawals: tuple[Withdrawal, ...] = ()

    @property
    def file_id(self) -> str:
        """Short, stable name of this receipt: first 12 hex digits of a SHA-256 over path, content and version."""
        return hashlib.sha256(f"{self.path}\0{self.sha256}\0{self.version}".encode()).hexdigest()[:12]

    @property
    def folder(self) -> str:
        return self.path.split("/", 1)[0]

    @property
    def inner_path(self) -> str:
        """Path relative to the folder of exports: what dialects match."""
        return self.path.split("/", 1)[1]

    @property
    def is_corrections(self) -> bool:
        """Whether it is a folder's list of declared corrections, and no export."""
        return self.inner_path == CORRECTIONS

    def withdrawal(self, known_at: str | None) -> Withdrawal | None:
        """The withdrawal in force at that time (None: now), if any."""
        for item in self.withdrawals:
            if (known_at is None or item.at <= known_at) and (not item.until or (known_at is not None and known_at < item.until)):
                return item
        return None


@dataclass(frozen=True)
class Store:
    """Where a fleet's exports are kept."""

    root: Path

    def keep(self, data: bytes, added: set[str]) -> str:
        """Keep the bytes and return their SHA-256, noting it in `added` if it is new; a damaged kept file is mended."""
        digest = hashlib.sha256(data).hexdigest()
        kept = self.root / "files" / digest
        if not kept.is_file():
            note_unreceived(self.root, digest)
            added.add(digest)
        if not kept.is_file() or kept.read_bytes() != data:
            replace_file(kept, data)
        return digest

    def forget(self, added: set[str]) -> None:
        """Take back bytes that a run kept and could not use; what can't be taken back now is left to the next run."""
        with suppress(OSError):
            for digest in added:
                (self.root / "files" / digest).unlink(missing_ok=True)
            drop_note(self.root)

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

    def check_kept(self, ledger: list[ReceivedFile]) -> None:
        """Raise UserError store-damaged if a received file is no longer there in its full length."""
        for file in ledger:
            path = self.root / "files" / file.sha256
            if not path.is_file() or path.stat().st_size != file.bytes:
                raise UserError("store-damaged", path=path, why=f"{file.path} was kept there in {file.bytes:,} bytes")
            if file.container and not (self.root / "files" / file.container).is_file():
                raise UserError("store-damaged", path=self.root / "files" / file.container, why=f"{file.path} came in it")

    def ledger(self) -> list[ReceivedFile]:
        """Every file received so far, in the order in which they count."""
        return sort_received(self._read_ledger()[0])

    def dialects(self) -> dict[str, dict[str, bytes]]:
        """The dialects of each folder as they were when it was last given: folder -> file name -> TOML."""
        return self._read_ledger()[1]

    def rules(self) -> dict[str, dict[str, bytes]]:
        """The company's own rule files of each folder as they were when it was last given: folder -> file name -> TOML."""
        return self._read_ledger()[2]

    def _read_ledger(self) -> tuple[list[ReceivedFile], dict[str, dict[str, bytes]], dict[str, dict[str, bytes]]]:
        path = self.root / "received.json"
        if not path.exists():
            return [], {}, {}
        try:
            content = json.loads(path.read_text(encoding="utf-8"))
            kept = {
                what: {folder: {name: text.encode() for name, text in texts.items()} for folder, texts in folders.items()}
                for what, folders in (("dialects", content["dialects"]), ("rules", content.get("rules", {})))
            }
            return [_read_entry(entry) for entry in content["files"]], kept["dialects"], kept["rules"]
        except (OSError, ValueError, TypeError, KeyError, AttributeError) as error:
            raise UserError("store-damaged", path=path, why=error) from error

    def write_ledger(
        self, files: list[ReceivedFile], dialects: dict[str, dict[str, bytes]], rules: dict[str, dict[str, bytes]]
    ) -> None:
        """Write down what was received, how it is read and judged, in one step: the last of a run that succeeded."""
        content: dict = {"files": [_write_entry(file) for file in files]}
        for what, folders in (("dialects", dialects), ("rules", rules)):
            content[what] = {folder: {name: data.decode() for name, data in kept.items()} for folder, kept in folders.items()}
        replace_file(self.root / "received.json", json.dumps(content, indent=1, sort_keys=True).encode())


def sort_received(received: list[ReceivedFile]) -> list[ReceivedFile]:
    """Oldest first; ties by path, then by version, so that no order depends on the disk."""
    return sorted(received, key=lambda file: (file.received_at, file.path, file.version))


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
        if temporary.is_file():
            temporary.unlink()
        raise UserError("cannot-write", path=path, why=error.strerror) from error


def _write_entry(file: ReceivedFile) -> dict:
    """The entry of a file; what it leaves at its default is left out."""
    defaults = {item.name: item.default for item in fields(file)}
    return {name: value for name, value in asdict(file).items() if value != defaults[name]}


def _read_entry(entry: dict) -> ReceivedFile:
    """One entry of the ledger, its types checked. Raises ValueError, TypeError or KeyError."""
    withdrawals = tuple(Withdrawal(**item) for item in entry.get("withdrawals", ()))
    file = ReceivedFile(**(entry | {"withdrawals": withdrawals}))
    datetime.fromisoformat(file.received_at)
    date.fromisoformat(file.received_on)
    if "/" not in file.path or not isinstance(file.bytes, int) or not isinstance(file.version, int):
        raise ValueError(f"the entry of {file.path!r} is not whole")
    return file
