"""What must hold after a run was killed, and after the next one."""

from __future__ import annotations

import hashlib
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
    """It ends well, with the same rows and pages, and no file more or less than where nothing had happened."""
    done = firekpi(place)
    assert (done["code"], done["err"]) == (0, "")
    assert read_state(place) == new
