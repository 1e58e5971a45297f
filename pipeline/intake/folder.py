"""A folder of exports as it lies on the disk. In: its path. Out: its files, their times of receipt, its dialects and rules.

Nothing is passed over silently: what can't be read is an error, what is no export is named in a note.
"""

from __future__ import annotations

import os
import tomllib
import unicodedata
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from pathlib import Path

from pipeline.errors import UserError
from pipeline.intake.plain_file import read_plain_file
from pipeline.intake.received import Receipt, read_received
from pipeline.intake.store import CORRECTIONS
from pipeline.intake.unpack import CONTROL, EXPORT_ENDINGS, is_export, is_packed

RECEIVED, SETTINGS, DIALECTS, RULES = "received.csv", "exports.toml", "dialects", "rules"
SITE_MARKER = ".firekpi-site"
MOST_TOML = 1 << 20
DEEPEST = 100


@dataclass(frozen=True)
class Folder:
    """What a folder of exports holds: export paths in order, declared receipts, dialects, and notes for the user.

    `corrections` is the path of its corrections.csv, `ignored` the globs of what is no data, `rules`
    the company's own rule files.
    """

    path: Path
    name: str
    exports: tuple[Path, ...]
    declared: dict[str, Receipt]
    dialects: dict[str, bytes]
    notes: tuple[str, ...]
    corrections: Path | None = None
    ignored: tuple[str, ...] = ()
    rules: dict[str, bytes] = field(default_factory=dict)

    def inner_path(self, path: Path) -> str:
        return inner_name(path, self.path)

    def ignores(self, inner: str) -> bool:
        return is_ignored(inner, self.ignored)


def inner_name(path: Path, folder: Path) -> str:
    """The path within the folder, in Unicode's composed form: some file systems take names apart (NFD)."""
    return unicodedata.normalize("NFC", path.relative_to(folder).as_posix())


def is_ignored(inner: str, ignored: tuple[str, ...]) -> bool:
    return any(fnmatchcase(inner, pattern) for pattern in ignored)


def read_folder(path: Path, store_root: Path) -> Folder:
    """Look through one folder; a store or a site of ours inside it is no part of it.

    Raises UserError no-folder, empty-folder, unreadable-file, bad-received, bad-dialect.
    """
    if not path.is_dir():
        raise UserError("no-folder", folder=path)
    _check_readable(path)
    ignored = _read_ignored(path / SETTINGS)
    exports, others = [], []
    for file in _walk(path, store_root):
        inner = inner_name(file, path)
        _check_name(file, inner)
        if inner in (RECEIVED, CORRECTIONS, SETTINGS) or is_ignored(inner, ignored):
            continue
        if not is_export(file.name):
            others.append(file)
        elif not file.is_file():
            raise UserError("unreadable-file", path=file, why="it is no file, or a link that leads nowhere")
        else:
            exports.append(file)
    if not exports:
        raise UserError("empty-folder", folder=path)
    exports.sort(key=lambda file: inner_name(file, path))
    _refuse_namesakes(path, exports)
    declared = read_received(path / RECEIVED)
    notes = _note_others(path, others) + _note_declared(path, declared, exports)
    corrections = path / CORRECTIONS if (path / CORRECTIONS).exists() else None
    dialects, rules = _read_tomls(path / DIALECTS), _read_tomls(path / RULES)
    return Folder(path, path.resolve().name, tuple(exports), declared, dialects, notes, corrections, ignored, rules)


def _refuse_namesakes(folder: Path, exports: list[Path]) -> None:
    """Two names that are one text in Unicode would count as versions of one file."""
    for before, after in zip(exports, exports[1:], strict=False):
        if inner_name(before, folder) == inner_name(after, folder):
            raise UserError("unreadable-file", path=after, why="another file's name is the same text in Unicode")


def _check_readable(folder: Path) -> None:
    """A folder that can't be looked into must not pass for an empty one."""
    for place in (folder, folder / DIALECTS):
        if place.is_dir() and not os.access(place, os.R_OK | os.X_OK):
            raise UserError("unreadable-file", path=place, why="its permissions do not let this user look into it")


def _walk(folder: Path, store_root: Path):
    """Every file below the folder but hidden ones, linked folders included, each folder once."""

    def refuse(error: OSError) -> None:
        raise UserError("unreadable-file", path=error.filename, why=error.strerror) from error

    seen: set[Path] = set()
    for place, subfolders, names in os.walk(folder, onerror=refuse, followlinks=True):
        here = Path(place)
        if len(here.relative_to(folder).parts) > DEEPEST:
            raise UserError("unreadable-file", path=here, why=f"it lies more than {DEEPEST} folders deep")
        subfolders[:] = sorted(
            name for name in subfolders if _is_part(here / name, folder, store_root) and (here / name).resolve() not in seen
        )
        seen |= {(here / name).resolve() for name in subfolders}
        yield from (here / name for name in sorted(names) if not name.startswith("."))
        yield from (here / name for name in subfolders if is_export(name))


def _is_part(path: Path, folder: Path, store_root: Path) -> bool:
    """Whether a subfolder may hold exports: not hidden, not the dialects, not a store or a site of ours."""
    if path.name.startswith(".") or path == folder / DIALECTS or path.resolve() == store_root.resolve():
        return False
    return not (path / SITE_MARKER).exists()


def _check_name(file: Path, inner: str) -> None:
    try:
        str(file).encode("utf-8")
    except UnicodeEncodeError as error:
        shown = ascii(str(file))
        raise UserError("unreadable-file", path=shown, why="its name is no UTF-8 text") from error
    if CONTROL.search(inner):
        raise UserError("unreadable-file", path=file, why="its name holds control characters")


def _note_others(folder: Path, others: list[Path]) -> tuple[str, ...]:
    """Files with another ending than an export's: they may be exports in a form that is not read."""
    others = [file for file in others if file.suffix.lower() not in (".md", ".toml")]
    if not others:
        return ()
    shown = ", ".join(file.relative_to(folder).as_posix() for file in others[:5])
    more = f" and {len(others) - 5} more" if len(others) > 5 else ""
    return (f"not read, since they are no {', '.join(EXPORT_ENDINGS)}, .gz or .zip of these: {shown}{more}",)


def _note_declared(folder: Path, declared: dict[str, Receipt], exports: list[Path]) -> tuple[str, ...]:
    """Lines of received.csv that name no file: a slip of the pen would make 'now' its time of receipt."""
    there = {inner_name(file, folder) for file in exports} | {CORRECTIONS}
    archives = tuple(f"{name}/" for name in there if is_packed(name))
    absent = sorted(name for name in set(declared) - there if not name.startswith(archives))
    if not absent:
        return ()
    more = f" and {len(absent) - 5} more" if len(absent) > 5 else ""
    return (f"{folder / RECEIVED} names files that are not there: {', '.join(absent[:5])}{more}",)


def _read_tomls(folder: Path) -> dict[str, bytes]:
    """The .toml files right in the folder. One that is nested, or ends in .TOML, would be passed over unseen: it is refused."""
    try:
        paths = sorted(folder.glob("*.toml"))
        passed_over = [path for path in folder.rglob("*") if path.suffix.lower() == ".toml" and path not in paths]
    except OSError as error:
        raise UserError("unreadable-file", path=error.filename or folder, why=error.strerror) from error
    if passed_over:
        why = f"would be passed over: put it right into {folder.name}/ under a name that ends in .toml, or take it out"
        slug = "bad-rule" if folder.name == RULES else "bad-dialect"
        raise UserError(slug, file=min(passed_over), key="(file name)", why=why)
    for path in paths:
        _check_name(path, path.name)
    return {path.name: read_plain_file(path, MOST_TOML) for path in paths}


def _read_ignored(path: Path) -> tuple[str, ...]:
    """Globs of exports.toml that name files which are no data."""
    if not path.exists():
        return ()
    try:
        settings = tomllib.loads(read_plain_file(path, MOST_TOML).decode("utf-8"))
    except (ValueError, RecursionError) as error:
        raise UserError("bad-dialect", file=path, key="(whole file)", why=f"is not TOML: {error}") from error
    for key in settings:
        if key != "ignore":
            raise UserError("bad-dialect", file=path, key=key, why="is not known; exports.toml takes `ignore`")
    ignored = settings.get("ignore", [])
    if not isinstance(ignored, list) or not all(isinstance(item, str) for item in ignored):
        raise UserError("bad-dialect", file=path, key="ignore", why='must be a list of globs such as ["notes_*.txt"]')
    return tuple(ignored)
