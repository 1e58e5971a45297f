"""A full disk and places that can't be written: one sentence, nothing published is touched, and the next run is whole."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tests.faults.checks import check_next_run
from tests.faults.conftest import RUN, read_state
from tests.test_bad_input import assert_sentence


def check_refused(done: dict, place: Path, scene, *said: str) -> None:
    """It failed with one sentence, and all that was published before is as it was; no half-written file remains."""
    assert done["code"] and done["code"] > 0, done["err"]
    assert_sentence(done["err"], "firekpi: ", *said)
    now = read_state(place)
    assert (now.rows, now.site, now.received) == (scene.before.rows, scene.before.site, scene.before.received)
    left = set(now.files) - set(scene.before.files)
    assert not [name for name in left if "/parsed/" not in name and not name.startswith("exports/")], left
    assert not [name for name in left if ".part" in name], left


# From a file that can't even say what was received to one that only plotly.js does not fit into.
@pytest.mark.parametrize(
    "size",
    [0, 1_000, 6_000, 24_000, 4_000_000, *(pytest.param(size, marks=pytest.mark.slow) for size in (100, 100_000, 300_000))],
)
def test_no_file_may_grow_beyond(firekpi, scene, tmp_path, size):
    """As on a full disk, a write comes back with an error: here the operating system lets no file of the run grow larger."""
    place = scene.second(tmp_path / "place")
    check_refused(firekpi(place, bytes_a_file=size), place, scene, "[cannot-write]")
    check_next_run(firekpi, place, scene.after)


def test_there_is_a_size_that_is_enough(firekpi, scene, tmp_path):
    place = scene.second(tmp_path / "place")
    assert firekpi(place, bytes_a_file=20_000_000)["code"] == 0
    assert read_state(place) == scene.after


def protect(*paths: Path, folders: int = 0o500, files: int = 0o400) -> None:
    for path in paths:
        path.chmod(folders if path.is_dir() else files)


def release(place: Path) -> None:
    for path in [place, *place.rglob("*")]:
        path.chmod(0o700 if path.is_dir() else 0o600)


@pytest.fixture(autouse=True)
def posix_only():
    if os.name != "posix":
        pytest.skip("permission bits are POSIX's")


@pytest.mark.parametrize(
    "what", ["store", "files", "ledger's folder", "database", "database's folder", "site's folder", "old site"]
)
def test_a_place_that_can_not_be_written(firekpi, scene, tmp_path, what):
    place = scene.second(tmp_path / "place")
    (place / "out").mkdir()
    store, db, site = place / ".firekpi", place / "firekpi.duckdb", place / "site"
    arguments, names = RUN, [".firekpi"]
    if what == "store":
        protect(store, *store.rglob("*"))
    elif what == "files":
        protect(store / "files")
    elif what == "ledger's folder":
        protect(store)
    elif what == "database":
        protect(db)
        names = ["firekpi.duckdb", "write-protected"]
    elif what == "database's folder":
        protect(place)
        names = ["firekpi.duckdb"]
    elif what == "site's folder":
        protect(place / "out")
        arguments, names = (*RUN, "--site", "out/site"), ["out"]
    else:
        protect(site, *(path for path in site.rglob("*") if path.is_dir()))
    try:
        done = firekpi(place, *arguments, is_bound=True)
    finally:
        release(place)
    (place / "out").rmdir()
    if what == "old site":  # it is renamed away, and only what is left of it can't be removed: the next run does that
        assert done["code"] == 0, done["err"]
    else:
        check_refused(done, place, scene, *names, "[cannot-write]")
    check_next_run(firekpi, place, scene.after)


@pytest.mark.parametrize(
    "what", ["exports", "exports/dialects", "exports/vessel.csv", "exports/received.csv", "exports/dialects/log.toml"]
)
def test_exports_that_can_not_be_read(firekpi, scene, tmp_path, what):
    place = scene.second(tmp_path / "place")
    (place / what).chmod(0)
    try:
        done = firekpi(place, is_bound=True)
    finally:
        release(place)
    check_refused(done, place, scene, what)
