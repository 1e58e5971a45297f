"""A folder of exports as it lies on the disk. In: its path. Out: its files, their times of receipt and its dialects.

Nothing is passed over silently: what can't be read is an error, what is no export is named in a note.
"""

from __future__ import annotations

import os
import tomllib
from dataclasses import dataclass
from fnmatch import fnmatchcase
from pathlib import Path

from pipeline.errors import UserError
from pipeline.intake.received import Receipt, read_received

EXPORT_ENDINGS = (".csv", ".tsv", ".txt")
RECEIVED, SETTINGS, DIALECTS = "received.csv", "exports.toml", "dialects"
SITE_MARKER = ".firekpi-site"


@dataclass(frozen=True)
class Folder:
    """What a folder of exports holds: export paths in order, declared receipts, dialects, and notes for the user."""

    path: Path
    name: str
    exports: tuple[Path, ...]
    declared: dict[str, Receipt]
    dialects: dict[str, bytes]
    notes: tuple[str, ...]

    def inner_path(self, path: Path) -> str:
        return path.relative_to(self.path).as_posix()


def read_folder(path: Path, store_root: Path) -> Folder:
    """Look through one folder; a store or a site of ours inside it is no part of it.

    Raises UserError no-folder, empty-folder, unreadable-file, bad-received, bad-dialect.
    """
    if not path.is_dir():
        raise UserError("no-folder", folder=path)
    ignored = _read_ignored(path / SETTINGS)
    exports, others = [], []
    for file in _walk(path, store_root):
        inner = file.relative_to(path).as_posix()
        _check_name(file, inner)
        if inner in (RECEIVED, SETTINGS) or any(fnmatchcase(inner, pattern) for pattern in ignored):
            continue
        if file.suffix.lower() not in EXPORT_ENDINGS:
            others.append(file)
        elif not file.is_file():
            raise UserError("unreadable-file", path=file, why="it is no file, or a link that leads nowhere")
        else:
            exports.append(file)
    if not exports:
        raise UserError("empty-folder", folder=path)
    exports.sort(key=lambda file: file.relative_to(path).as_posix())
    declared = read_received(path / RECEIVED)
    notes = _note_others(path, others) + _note_declared(path, declared, exports)
    return Folder(path, path.resolve().name, tuple(exports), declared, _read_dialects(path / DIALECTS), notes)


def _walk(folder: Path, store_root: Path):
    """Every file below the folder but hidden ones, linked folders included, each folder once."""

    def refuse(error: OSError) -> None:
        raise UserError("unreadable-file", path=error.filename, why=error.strerror) from error

    seen: set[Path] = set()
    for place, subfolders, names in os.walk(folder, onerror=refuse, followlinks=True):
        here = Path(place)
        subfolders[:] = sorted(
            name for name in subfolders if _is_part(here / name, folder, store_root) and (here / name).resolve() not in seen
        )
        seen |= {(here / name).resolve() for name in subfolders}
        yield from (here / name for name in sorted(names) if not name.startswith("."))
        yield from (here / name for name in subfolders if name.lower().endswith(EXPORT_ENDINGS))


def _is_part(path: Path, folder: Path, store_root: Path) -> bool:
    """Whether a subfolder may hold exports: not hidden, not the dialects, not a store or a site of ours."""
    if path.name.startswith(".") or path == folder / DIALECTS or path.resolve() == store_root.resolve():
        return False
    return not (path / SITE_MARKER).exists()


def _check_name(file: Path, inner: str) -> None:
    try:
        inner.encode("utf-8")
    except UnicodeEncodeError as error:
        shown = ascii(str(file))
        raise UserError("unreadable-file", path=shown, why="its name is no UTF-8 text") from error


def _note_others(folder: Path, others: list[Path]) -> tuple[str, ...]:
    """Files with another ending than an export's: they may be exports in a form that is not read."""
    others = [file for file in others if file.suffix.lower() not in (".md", ".toml")]
    if not others:
        return ()
    shown = ", ".join(file.relative_to(folder).as_posix() for file in others[:5])
    more = f" and {len(others) - 5} more" if len(others) > 5 else ""
    return (f"not read, since they are no {', '.join(EXPORT_ENDINGS)}: {shown}{more}",)


def _note_declared(folder: Path, declared: dict[str, Receipt], exports: list[Path]) -> tuple[str, ...]:
    """Lines of received.csv that name no file: a slip of the pen would make 'now' its time of receipt."""
    there = {file.relative_to(folder).as_posix() for file in exports}
    absent = sorted(set(declared) - there)
    if not absent:
        return ()
    more = f" and {len(absent) - 5} more" if len(absent) > 5 else ""
    return (f"{folder / RECEIVED} names files that are not there: {', '.join(absent[:5])}{more}",)


def _read_dialects(folder: Path) -> dict[str, bytes]:
    try:
        return {path.name: path.read_bytes() for path in sorted(folder.glob("*.toml"))}
    except OSError as error:
        raise UserError("unreadable-file", path=error.filename or folder, why=error.strerror) from error


def _read_ignored(path: Path) -> list[str]:
    """Globs of exports.toml that name files which are no data."""
    if not path.exists():
        return []
    try:
        settings = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise UserError("bad-dialect", file=path, key="(whole file)", why=f"is not TOML: {error}") from error
    for key in settings:
        if key != "ignore":
            raise UserError("bad-dialect", file=path, key=key, why="is not known; exports.toml takes `ignore`")
    ignored = settings.get("ignore", [])
    if not isinstance(ignored, list) or not all(isinstance(item, str) for item in ignored):
        raise UserError("bad-dialect", file=path, key="ignore", why='must be a list of globs such as ["notes_*.txt"]')
    return ignored
