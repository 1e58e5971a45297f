"""Folders beside the site that runs of ours leave when they are killed: told apart, put right, swept.

In: the folder of the site. Out: no leftover of a run that has ended. `site.<process>.new` is a site being written,
`site.<process>.old` one that has been replaced. Never touches what does not hold the marker of ours.
"""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Iterator
from contextlib import suppress
from itertools import count
from pathlib import Path

from pipeline.lock import is_running

MARKER = ".firekpi-site"


def is_foreign(folder: Path) -> bool:
    """True for a file, and for a folder with something in it but without our marker."""
    if not folder.is_dir():
        return folder.exists()
    return not (folder / MARKER).is_file() and any(folder.iterdir())


def remove_site(folder: Path) -> None:
    """Remove a site of ours, the marker last: cut short, it still says whose it is and the next run goes on."""
    if not folder.exists() or is_foreign(folder):
        return
    for part in sorted(folder.iterdir()):
        if part.name == MARKER:
            continue
        if part.is_dir() and not part.is_symlink():
            shutil.rmtree(part)
        else:
            part.unlink()
    (folder / MARKER).unlink(missing_ok=True)
    folder.rmdir()


def pick_free(site: Path, ending: str) -> Path:
    """A folder beside the site that is not there yet: site.<process>.new, or with a number where that is taken."""
    names = (f"{site.name}.{os.getpid()}{f'-{n}' if n else ''}.{ending}" for n in count())
    return next(path for path in (site.with_name(name) for name in names) if not path.exists())


def list_leftovers(site: Path) -> Iterator[tuple[Path, int, str]]:
    """Folders of ours beside the site, with the process that made them and what they are."""
    pattern = re.compile(re.escape(site.name) + r"\.(\d+)(?:-\d+)?\.(new|old)")
    for path in sorted(site.parent.iterdir()) if site.parent.is_dir() else []:
        match = pattern.fullmatch(path.name)
        if match and not is_foreign(path):
            yield path, int(match[1]), match[2]


def sweep_leftovers(site: Path) -> None:
    """Put a site back whose run was killed between its two renames, then remove what ended runs have left."""
    ended = [(path, what) for path, process, what in list_leftovers(site) if not is_running(process)]
    for path, what in ended:
        if what == "old" and (path / MARKER).is_file() and not site.exists():
            path.rename(site)
            continue
        # Held by another program: left for the run after this one.
        with suppress(OSError):
            remove_site(path)
