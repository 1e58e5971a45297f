"""What is the same in the site that stands is kept under a second name: the same file, the same time of change; all else is written anew."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import duckdb
import pytest

from dashboards import keep_same
from dashboards.keep_same import Folder, is_same, write_new
from dashboards.leftovers import MARKER
from dashboards.site import build_site
from tests.browser.make_fixture_db import make_fixture_db

LONG_AGO = 10**9  # seconds: what is written now has another time


def look(site: Path) -> dict[str, tuple[int, int, bytes]]:
    """Number, time of change and bytes of every file."""
    found = {path.relative_to(site).as_posix(): path for path in site.rglob("*") if path.is_file()}
    return {name: (path.stat().st_ino, path.stat().st_mtime_ns, path.read_bytes()) for name, path in found.items()}


def build_old(db: Path, site: Path) -> dict[str, tuple[int, int, bytes]]:
    """A site of long ago."""
    build_site(db, site)
    for path in site.rglob("*"):
        os.utime(path, (LONG_AGO, LONG_AGO))
    return look(site)


@pytest.fixture
def db(tmp_path) -> Path:
    return make_fixture_db(tmp_path / "a.duckdb", vessels=2, units=4, months=3)


def test_the_same_records_write_no_file_anew(tmp_path, db):
    old = build_old(db, tmp_path / "site")
    assert {name.split("/")[0] for name in old} >= {"unit", "list", "data", "calendar", "assets", "vessel", "parts", MARKER}
    build_site(db, tmp_path / "site")
    assert look(tmp_path / "site") == old
    assert {path.stat().st_nlink for path in (tmp_path / "site").rglob("*") if path.is_file()} == {1}  # the old names are gone


def test_one_record_more_changes_the_times_of_those_pages_alone_whose_bytes_differ(tmp_path, db):
    old = build_old(db, tmp_path / "site")
    with duckdb.connect(str(db)) as con:
        con.execute("UPDATE record.unit SET maker = 'Another maker' WHERE unit_id = (SELECT min(unit_id) FROM record.unit)")
    build_site(db, tmp_path / "site")
    new = look(tmp_path / "site")
    assert new.keys() == old.keys()
    differing = {name for name in new if new[name][2] != old[name][2]}
    assert 0 < len(differing) < len(new) / 2
    assert {name for name in new if new[name][1] != old[name][1]} == differing
    build_site(db, tmp_path / "fresh")
    assert {name: found[2] for name, found in look(tmp_path / "fresh").items()} == {name: found[2] for name, found in new.items()}


def test_a_page_that_was_changed_by_hand_is_written_anew_and_the_copy_of_it_stays(tmp_path, db):
    site, page = tmp_path / "site", tmp_path / "site" / "method.html"
    old = build_old(db, site)
    page.write_bytes(page.read_bytes()[:-2] + b"!\n")
    os.link(page, tmp_path / "copy.html")
    build_site(db, site)
    assert page.read_bytes() == old["method.html"][2] and (tmp_path / "copy.html").read_bytes().endswith(b"!\n")


def test_what_stands_in_a_folder_that_is_not_ours_is_not_linked_to(tmp_path):
    old = tmp_path / "site"
    old.mkdir()
    (old / "a.html").write_bytes(b"a")
    assert Folder.beside(tmp_path / "new", old).old is None
    (old / MARKER).touch()
    assert Folder.beside(tmp_path / "new", old).old == str(old)


def test_a_link_is_never_taken_for_a_page(tmp_path):
    (tmp_path / "elsewhere.html").write_bytes(b"a")
    (tmp_path / "old").mkdir()
    (tmp_path / "old" / "a.html").symlink_to(tmp_path / "elsewhere.html")
    Folder(str(tmp_path / "new"), str(tmp_path / "old")).write("a.html", b"a")
    assert not (tmp_path / "new" / "a.html").is_symlink()
    assert (tmp_path / "elsewhere.html").stat().st_nlink == 1


def test_where_a_disk_has_no_second_names_files_are_written(tmp_path, db, monkeypatch):
    def refuse(*args, **kwargs):
        raise OSError(18, "Invalid cross-device link")

    old = build_old(db, tmp_path / "site")
    with monkeypatch.context() as patch:
        patch.setattr(keep_same.os, "link", refuse)
        build_site(db, tmp_path / "site")
    new = look(tmp_path / "site")
    assert {name: found[2] for name, found in new.items()} == {name: found[2] for name, found in old.items()}
    assert not {found[1] for found in new.values()} & {found[1] for found in old.values()}


def test_a_first_build_reads_nothing_back(tmp_path, db, monkeypatch):
    monkeypatch.setattr(keep_same, "is_same", lambda path, content: pytest.fail(path))
    build_site(db, tmp_path / "site")


def test_a_file_of_two_names_is_never_written_into(tmp_path):
    (tmp_path / "one").write_bytes(b"first")
    os.link(tmp_path / "one", tmp_path / "two")
    write_new(str(tmp_path / "two"), b"second")
    assert ((tmp_path / "one").read_bytes(), (tmp_path / "two").read_bytes()) == (b"first", b"second")
    assert is_same(str(tmp_path / "two"), b"second") and not is_same(str(tmp_path / "two"), b"seconD")


def test_an_old_site_that_stays_lying_shares_files_and_loses_none(tmp_path, db, monkeypatch):
    """Where the replaced folder can't be deleted, both have the same files; deleting it later takes nothing from the site."""
    old = build_old(db, tmp_path / "site")
    with monkeypatch.context() as patch:
        patch.setattr("dashboards.site.remove_site", lambda folder: None)
        build_site(db, tmp_path / "site")
    (left,) = tmp_path.glob("site.*.old")
    shutil.rmtree(left)
    assert look(tmp_path / "site") == old
