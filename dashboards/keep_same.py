"""Files of a new site: what is the same, byte for byte, in the site that stands is that file under a second name, and isn't written again.

In: a path inside the site and its bytes. Out: a file of the new folder. One that is the same keeps its time of change, so that what copies
the site elsewhere passes it over. No file that may have two names is ever opened to be written: one in the way is removed first.
Errors: OSError.
"""

from __future__ import annotations

import os
import stat
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from dashboards.leftovers import MARKER

OPEN_TO_READ = os.O_RDONLY | getattr(os, "O_BINARY", 0) | getattr(os, "O_NOFOLLOW", 0)


@dataclass(frozen=True)
class Folder:
    """A folder being written, and the site of ours that it will replace, if there is one."""

    new: str
    old: str | None = None

    @classmethod
    def beside(cls, new: Path, old: Path) -> Folder:
        """What stands at `old` counts only where it is a site of ours."""
        return cls(str(new), str(old) if (old / MARKER).is_file() else None)

    def write(self, path: str, content: bytes) -> None:
        """Write a file, or give the old one that is the same a second name. `path` is relative to the site's root, with slashes."""
        place = f"{self.new}/{path}"
        if self.old is None or not link_same(f"{self.old}/{path}", place, content):
            write_new(place, content)


def link_same(old: str, new: str, content: bytes) -> bool:
    """True where `old` is a file of just these bytes and `new` has become its second name; False where that isn't so or can't be done."""
    try:
        if not is_same(old, content):
            return False
        with suppress(FileNotFoundError):
            os.link(old, new)
            return True
        os.makedirs(os.path.dirname(new), exist_ok=True)
        os.link(old, new)
    except OSError:  # no such file, one that may not be read, a system or a disk without second names
        return False
    return True


def is_same(path: str, content: bytes) -> bool:
    """Whether a file, and no link to one, holds just these bytes; one of another length isn't read. Raises OSError."""
    number = os.open(path, OPEN_TO_READ)
    with open(number, "rb", buffering=0) as file:
        about = os.fstat(number)
        return stat.S_ISREG(about.st_mode) and about.st_size == len(content) and file.read() == content


def write_new(path: str, content: bytes) -> None:
    """Write a file that wasn't there, and the folder that it lies in where there is none yet."""
    try:
        file = open(path, "xb")
    except FileNotFoundError:
        os.makedirs(os.path.dirname(path), exist_ok=True)
        file = open(path, "xb")
    except FileExistsError:
        os.unlink(path)
        file = open(path, "xb")
    with file:
        file.write(content)
