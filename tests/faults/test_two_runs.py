"""Two runs at once: one works, the other says who holds what, and nothing is mixed."""

from __future__ import annotations

import json
import os
import shutil

import duckdb
import pytest

from pipeline.lock import Held, hold_lock, note_path
from tests.faults.checks import KILLED, check_next_run
from tests.faults.conftest import RUN, read_state
from tests.test_bad_input import assert_sentence

READING, PAGES = 1, 5


def stop_at(firekpi, place, stage: int, *args: str) -> int:
    """Start a run that stops to wait at that stage; gives its process."""
    done = firekpi(place, *args, at_stage=stage, signal="SIGSTOP")
    assert done.get("waits"), done
    return done["pid"]


@pytest.mark.parametrize("stage", [READING, PAGES])
def test_the_other_run_says_who_uses_the_store(firekpi, scene, tmp_path, stage):
    place = scene.second(tmp_path / "place")
    holder = stop_at(firekpi, place, stage)
    before = read_state(place)
    for command in (RUN, ("check", "exports")):
        other = firekpi(place, *command)
        assert other["code"] == 4
        assert_sentence(other["err"], ".firekpi", f"process {holder}", "firekpi run exports", " UTC", "[store-busy]")
        assert read_state(place) == before
    assert firekpi.ask(go_on=holder)["code"] == 0
    assert read_state(place) == scene.after


def test_two_stores_build_into_one_database(firekpi, scene, tmp_path):
    """The second is told so, and takes nothing of the first away; afterwards it may, and the last one wins wholly."""
    place = scene.second(tmp_path / "place")
    shutil.copytree(place / ".firekpi", place / "other")
    holder = stop_at(firekpi, place, PAGES)
    before = read_state(place)
    other = firekpi(place, *RUN, "--store", "other")
    assert other["code"] == 4
    assert_sentence(other["err"], "firekpi.duckdb", f"process {holder}", "firekpi run exports", "[database-busy]")
    now = read_state(place)
    assert (now.rows, now.site, now.received) == (before.rows, before.site, before.received)
    new = set(now.files) - set(before.files)
    assert set(before.files) <= set(now.files) and all(name.startswith(("other/parsed/", "other/.lock")) for name in new)
    assert firekpi.ask(go_on=holder)["code"] == 0
    assert read_state(place).rows == scene.after.rows
    assert firekpi(place, *RUN, "--store", "other")["code"] == 0
    assert read_state(place).rows == scene.after.rows and read_state(place).site == scene.after.site


def test_a_database_that_is_opened_during_the_run(firekpi, scene, tmp_path):
    """Another program writes to it when it is to be replaced: the run says so, and has not touched the ledger either."""
    place = scene.second(tmp_path / "place")
    run = stop_at(firekpi, place, PAGES)
    with duckdb.connect(str(place / "firekpi.duckdb")):
        done = firekpi.ask(go_on=run)
        assert done["code"] == 4
        assert_sentence(done["err"], "firekpi.duckdb", f"process {os.getpid()}", "[database-busy]")
    now = read_state(place)
    assert (now.rows, now.site, now.received) == (scene.before.rows, scene.before.site, scene.before.received)
    check_next_run(firekpi, place, scene.after)


def test_a_killed_holder_holds_nothing_and_its_note_says_nothing(firekpi, scene, tmp_path):
    place = scene.second(tmp_path / "place")
    assert firekpi(place, at_stage=PAGES)["code"] == KILLED
    note = note_path(place / ".firekpi" / ".lock")
    dead = json.loads(note.read_text())["process"]
    left = note.read_bytes()
    holder = stop_at(firekpi, place, READING)
    note.write_bytes(left)  # as if the new holder had not come to write its own yet
    other = firekpi(place)
    assert other["code"] == 4 and f"process {dead}" not in other["err"]
    assert_sentence(other["err"], "in use by another process", "[store-busy]")
    assert firekpi.ask(go_on=holder)["code"] == 0
    check_next_run(firekpi, place, scene.after)


def test_a_note_from_another_host_is_believed(tmp_path):
    lock = tmp_path / "lock"
    with hold_lock(lock):
        note = json.loads(note_path(lock).read_text()) | {"host": "bridge", "process": 2**22 + 1}
        note_path(lock).write_text(json.dumps(note))
        with pytest.raises(Held, match=f"process {2**22 + 1} on bridge"), hold_lock(lock):
            pass
    assert not note_path(lock).exists()
    with hold_lock(lock):
        pass
