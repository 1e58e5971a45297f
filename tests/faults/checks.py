"""What must hold after a run was killed, and after the next one."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

from tests.faults.conftest import State, read_state

KILLED = -9


def check_whole(place: Path, old: State, new: State) -> State:
    """Each of the three is wholly the old or wholly the new one, and none runs ahead of what it rests on."""
    now = read_state(place)
    assert now.rows in (old.rows, new.rows)
    assert now.site in (old.site, new.site)
    assert now.received in (old.received, new.received)
    for file in (now.received or {"files": []})["files"]:
        assert hashlib.sha256((place / ".firekpi" / "files" / file["sha256"]).read_bytes()).hexdigest() == file["sha256"]
    if now.site == new.site:
        assert now.rows == new.rows
    if now.rows == new.rows:
        assert now.received == new.received
    return now


def check_next_run(firekpi, place: Path, new: State) -> None:
    """It ends well, with the same rows and pages, and no file more or less than where nothing had happened.

    What a run finds is the bytes on the disk: from bytes that one has found before, the names of temporary files apart, it is
    not run again.
    """
    found = (read_bytes(place), repr(new.files))
    if found in CHECKED:
        return
    done = firekpi(place)
    assert (done["code"], done["err"]) == (0, "")
    assert read_state(place) == new
    CHECKED.add(found)


CHECKED: set[tuple] = set()
UNREAD = r"\.part$|lock"


def read_bytes(place: Path) -> str:
    """A digest of every file under `place`: name, mode and bytes. No run reads a half-written database, nor who held a lock last."""
    digest = hashlib.sha256()
    for path in sorted(place.rglob("*")):
        name = re.sub(r"\d+", "N", path.relative_to(place).as_posix())
        digest.update(
            f"{name}\0{path.stat().st_mode}\0".encode() + (b"" if path.is_dir() or re.search(UNREAD, name) else path.read_bytes())
        )
    return digest.hexdigest()
