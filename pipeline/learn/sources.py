"""The files to learn from: their bytes, unpacked, and the names by which their like will be known. In: paths."""

from __future__ import annotations

import re
from pathlib import Path

from pipeline.errors import UserError
from pipeline.intake.dialect import plain_name
from pipeline.intake.plain_file import read_plain_file
from pipeline.intake.unpack import MOST_BYTES, is_packed, unpack

MOST_UP = 6
HOME_SIGNS = ("dialects", "received.csv", "exports.toml", "vessel.csv", "vessel.csv.gz")


def read_sources(paths: list[Path]) -> list[tuple[Path, bytes]]:
    """Each export with its bytes; those in an archive one by one.

    Raises UserError unreadable-file, no-data-in-file, bad-archive, export-too-large.
    """
    found: list[tuple[Path, bytes]] = []
    for path in paths:
        data = read_plain_file(path, MOST_BYTES)
        members = unpack(data, str(path)) if is_packed(path.name) else [("", data)]
        files = [(path / name if name else path, content) for name, content in members if content and content.strip()]
        if not files:
            raise UserError("no-data-in-file", path=path)
        found += files
    return found


def find_home(path: Path) -> Path:
    """The folder of exports that a file lies in: its own or the nearest above it that shows its signs; else its own.

    Not above the user's home, where another's signs may lie.
    """
    own = path.resolve().parent
    for place in (own, *own.parents[:MOST_UP]):
        if place == Path(place.anchor):
            break
        if any((place / sign).exists() for sign in HOME_SIGNS):
            return place if place != own else path.parent
        if place == _user_home():
            break
    return path.parent


def _user_home() -> Path | None:
    try:
        return Path.home().resolve()
    except RuntimeError:  # no such user
        return None


def name_source(path: Path) -> str:
    """A name for the dialect: the file's without years and counters."""
    bare = re.sub(r"[\W_]*\d[\d\W_]*", "-", _stem(path)).strip("-_. ")
    return clip(bare) or "source"


def _stem(path: Path) -> str:
    return path.name.split(".")[0] if not path.name.startswith(".") else path.name


def clip(text: str) -> str:
    """A file name as text: what is no UTF-8 in it is replaced."""
    return text.encode("utf-8", "replace").decode("utf-8")[:80]


def glob_files(paths: list[Path], folder: Path | None) -> tuple[str, ...]:
    """Globs for these files and their like to come: digits give way to `*` where a word is left to know them by."""
    found = []
    for path in paths:
        inner = plain_name(clip(_inner_path(path, folder)))
        fixed = re.sub(r"([\[*?])", r"[\1]", inner)
        head, slash, last = fixed.rpartition("/")
        stem = last.split(".")[0]
        loose = re.sub(r"\d+(?:[-_. ]\d+)*", "*", stem)
        has_word = len(re.findall(r"[^\W\d_]", loose)) >= 3
        pattern = head + slash + (loose + last[len(stem) :] if has_word else last)
        found.append(f"{pattern}/*" if pattern.lower().endswith(".zip") else pattern)
    return tuple(dict.fromkeys(found))


def _inner_path(path: Path, folder: Path | None) -> str:
    if folder and path.resolve().is_relative_to(folder.resolve()):
        return path.resolve().relative_to(folder.resolve()).as_posix()
    return path.name
