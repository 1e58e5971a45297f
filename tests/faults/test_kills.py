"""Killed at any moment: what was published stays whole, and the next run ends as if nothing had happened."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.faults.checks import KILLED, check_next_run, check_whole
from tests.faults.conftest import RUN, State, read_state

STAGES = 6  # keeping, reading, checking, working out, computing, writing pages
RENAMES = ("os.rename",)


@pytest.mark.parametrize("stage", range(STAGES))
def test_killed_at_a_stage(firekpi, scene, tmp_path, stage):
    place = scene.second(tmp_path / "place")
    assert firekpi(place, at_stage=stage)["code"] == KILLED
    now = check_whole(place, scene.before, scene.after)
    assert (now.rows, now.site, now.received) == (scene.before.rows, scene.before.site, scene.before.received)
    check_next_run(firekpi, place, scene.after)


def test_there_is_no_stage_more(firekpi, scene, tmp_path):
    place = scene.second(tmp_path / "place")
    assert firekpi(place, at_stage=STAGES)["code"] == 0
    assert read_state(place) == scene.after


def kill_at_every_change(firekpi, start, tmp_path: Path, old: State, new: State, step: int = 1, **which) -> list[State]:
    """Kill before the first change of the disk, the next of every `step`, ... until a run has no more; gives the states left."""
    states = []
    while True:
        place = start(tmp_path / f"{len(states)}")
        done = firekpi(place, at_change=step * len(states), **which)
        if done["code"] == 0:
            return states
        assert done["code"] == KILLED, done["err"]
        states.append(check_whole(place, old, new))
        check_next_run(firekpi, place, new)


def test_killed_before_every_step_of_publishing(firekpi, scene, tmp_path):
    """All that is replaced is replaced by a rename: dialects, ledger, database, pages."""
    states = kill_at_every_change(
        firekpi, scene.second, tmp_path, scene.before, scene.after, changes=RENAMES, named=r"^(?!.*/(files|parsed)/)"
    )
    seen = {(now.received == scene.after.received, now.rows == scene.after.rows, now.site == scene.after.site) for now in states}
    assert seen == {(False, False, False), (True, False, False), (True, True, False), (True, True, True)}


def test_without_exchange_a_kill_between_the_two_renames_is_put_right(firekpi, scene, tmp_path):
    """Where the system can't exchange two folders there is no site between two renames; even a run that fails brings it back."""
    place = scene.second(tmp_path / "place")
    done = firekpi(place, at_change=0, changes=RENAMES, named=r"\.new$", cannot_exchange=True)
    assert done["code"] == KILLED and not (place / "site").exists()
    assert firekpi(place, "run", "nowhere")["code"] == 2
    assert read_state(place).site == scene.before.site
    check_next_run(firekpi, place, scene.after)


@pytest.mark.parametrize("command", [RUN, ("check", "exports")])
def test_bytes_of_a_killed_run_that_never_counted_do_not_stay(firekpi, scene, tmp_path, command):
    """The file is mended after the kill: what had been kept of it is taken back, and nothing else is."""
    place = scene.second(tmp_path / "place")
    mended = (place / "exports" / "inspection.csv").read_bytes()
    (place / "exports" / "inspection.csv").write_bytes(mended.replace(b"unsatisfactory", b"no_access"))
    assert firekpi(place, *command, at_stage=1)["code"] == KILLED
    assert set(read_state(place).files) - set(scene.before.files) > {".firekpi/unreceived"}
    (place / "exports" / "inspection.csv").write_bytes(mended)
    check_next_run(firekpi, place, scene.after)


@pytest.mark.slow
def test_killed_before_every_rename(firekpi, scene, tmp_path):
    """Those of the store too: bytes that are kept, rows that are read."""
    states = kill_at_every_change(firekpi, scene.second, tmp_path, scene.before, scene.after, changes=RENAMES)
    assert len(states) > 8


@pytest.mark.slow
def test_the_first_run_killed_before_every_rename(firekpi, scene, tmp_path):
    """Where there is nothing yet, there is nothing or the whole."""
    old = State(None, None, None, ())
    done = scene.first(tmp_path / "undisturbed")
    assert firekpi(done)["code"] == 0
    states = kill_at_every_change(firekpi, scene.first, tmp_path, old, read_state(done), changes=RENAMES)
    assert len(states) > 6 and states[0].rows is None


@pytest.mark.slow
def test_killed_before_every_fifth_change_of_the_disk(firekpi, scene, tmp_path):
    states = kill_at_every_change(firekpi, scene.second, tmp_path, scene.before, scene.after, step=5)
    assert len(states) > 10
