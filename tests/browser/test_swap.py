"""The old site stays whole until the new one is, whatever stops the run, and what a killed run leaves is put right."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import duckdb
import pytest

from dashboards import leftovers
from dashboards import site as site_module
from dashboards.database import open_database
from dashboards.pages import vessel as vessel_module
from dashboards.site import MARKER, build_site, prepare_site
from pipeline.errors import UserError
from tests.browser.make_fixture_db import make_fixture_db
from tests.browser.test_site import read_bytes


@pytest.fixture
def db(tmp_path) -> Path:
    return make_fixture_db(tmp_path / "a.duckdb", vessels=1, units=4, months=3)


@pytest.fixture(scope="module")
def dead_process() -> int:
    """The number of a process that has ended."""
    done = subprocess.Popen([sys.executable, "-c", ""])
    done.wait()
    return done.pid


def list_names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_old_site_stays_until_the_new_one_is_whole(tmp_path, monkeypatch):
    db = make_fixture_db(tmp_path / "a.duckdb", vessels=2, units=4, months=3)
    site = tmp_path / "site"
    build_site(db, site)
    before = read_bytes(site)

    def fail(every, context, part):
        raise RuntimeError("half way")

    with monkeypatch.context() as patch:
        patch.setattr(vessel_module, "make_pages", fail)
        with pytest.raises(RuntimeError, match="half way"):
            build_site(db, site)
    assert read_bytes(site) == before
    build_site(make_fixture_db(tmp_path / "b.duckdb", vessels=1, units=4, months=3), site)
    assert len(list((site / "vessel").iterdir())) == 2
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.duckdb", "b.duckdb", "site"]


def test_failed_swap_puts_the_old_site_back(tmp_path, monkeypatch):
    db = make_fixture_db(tmp_path / "a.duckdb", vessels=1, units=4, months=3)
    site = tmp_path / "site"
    build_site(db, site)
    before, rename = read_bytes(site), Path.rename

    def refuse(self, target):
        if self.name.endswith(".new"):
            raise OSError(13, "held by another program", str(target))
        return rename(self, target)

    monkeypatch.setattr(site_module, "exchange_folders", lambda new, site: False)
    monkeypatch.setattr(Path, "rename", refuse)
    with pytest.raises(UserError) as caught:
        build_site(db, site)
    assert caught.value.slug == "cannot-write" and read_bytes(site) == before


def test_prepared_site_changes_nothing_until_it_is_swapped_in(tmp_path, db):
    site = tmp_path / "site"
    build_site(db, site)
    before = read_bytes(site)
    prepared = prepare_site(make_fixture_db(tmp_path / "b.duckdb", vessels=2, units=4, months=3), site)
    assert read_bytes(site) == before and prepared.new.name == f"site.{os.getpid()}.new"
    summary = prepared.swap_in()
    assert summary.site == site and len(list((site / "vessel").iterdir())) == 4
    assert list_names(tmp_path) == ["a.duckdb", "b.duckdb", "site"]


def test_a_key_pressed_between_the_renames_puts_the_old_site_back(tmp_path, db, monkeypatch):
    site = tmp_path / "site"
    build_site(db, site)
    before, rename = read_bytes(site), Path.rename

    def stop(self, target):
        if self.name.endswith(".new"):
            raise KeyboardInterrupt
        return rename(self, target)

    monkeypatch.setattr(site_module, "exchange_folders", lambda new, site: False)
    monkeypatch.setattr(Path, "rename", stop)
    with pytest.raises(KeyboardInterrupt):
        build_site(db, site)
    assert read_bytes(site) == before


def test_an_old_site_that_cannot_be_deleted_is_no_error(tmp_path, db, monkeypatch):
    site, remove = tmp_path / "site", shutil.rmtree
    build_site(db, site)

    def refuse(path, *args, **kwargs):
        if ".old" in str(path):
            raise OSError(13, "held by another program", str(path))
        remove(path, *args, **kwargs)

    with monkeypatch.context() as patch:
        patch.setattr(leftovers.shutil, "rmtree", refuse)
        build_site(db, site)
    assert list_names(tmp_path) == ["a.duckdb", "site", f"site.{os.getpid()}.old"]
    build_site(db, site)
    assert list_names(tmp_path) == ["a.duckdb", "site"]


def test_the_marker_goes_last_so_that_a_deletion_cut_short_goes_on(tmp_path, monkeypatch):
    folder, remove = tmp_path / "site.old", shutil.rmtree
    for part in ("assets", "vessel"):
        (folder / part).mkdir(parents=True)
    (folder / MARKER).write_text("x")

    def stop(path):
        remove(path)
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(leftovers.shutil, "rmtree", stop)
        with pytest.raises(KeyboardInterrupt):
            leftovers.remove_site(folder)
    assert (folder / MARKER).is_file() and len(list(folder.iterdir())) == 2
    leftovers.remove_site(folder)
    assert not folder.exists()


def test_leftovers_of_killed_runs_are_swept_and_others_kept(tmp_path, db, dead_process):
    running, site = os.getppid(), tmp_path / "site"
    for name, marked in {
        f"site.{dead_process}.new": True, f"site.{dead_process}.old": True, f"site.{dead_process}-1.new": False,
        f"site.{running}.new": True, "other.1.new": True, f"site.{os.getpid()}.new": False,
    }.items():  # fmt: skip
        (tmp_path / name / "assets").mkdir(parents=True)
        if marked:
            (tmp_path / name / MARKER).write_text("x")
    build_site(db, site)
    build_site(db, site)
    kept = ["other.1.new", "site", f"site.{dead_process}-1.new", f"site.{os.getpid()}.new", f"site.{running}.new"]
    assert [name for name in list_names(tmp_path) if name != "a.duckdb"] == sorted(kept)


def test_a_site_that_a_killed_run_had_renamed_away_comes_back(tmp_path, db, dead_process):
    site = tmp_path / "site"
    build_site(db, site)
    before = read_bytes(site)
    site.rename(tmp_path / f"site.{dead_process}.old")
    leftovers.sweep_leftovers(site)
    assert read_bytes(site) == before and list_names(tmp_path) == ["a.duckdb", "site"]


@pytest.mark.parametrize("said", [
    "IO Error: Could not set lock on file", "The process cannot access the file because it is being used by another process.",
])  # fmt: skip
def test_held_databases_are_named_busy(db, monkeypatch, said):
    def refuse(*args, **kwargs):
        raise duckdb.IOException(said)

    monkeypatch.setattr(duckdb, "connect", refuse)
    with pytest.raises(UserError) as caught, open_database(db):
        pass
    assert caught.value.slug == "database-busy"


def test_no_extension_is_loaded_unasked(db):
    with open_database(db) as con:
        names = ("autoinstall_known_extensions", "autoload_known_extensions")
        assert [con.execute("select current_setting(?)", [name]).fetchone()[0] for name in names] == [False, False]
