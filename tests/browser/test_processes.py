"""Pages written by several processes: the same bytes as by one, errors that come through, and no child left behind."""

from __future__ import annotations

import gc
import multiprocessing
import os
import signal
import sys
from hashlib import sha256

import pytest

from dashboards.processes import Beside, count_processors, keep_from_collector, share_work, split_evenly
from dashboards.site import prepare_site
from pipeline.errors import UserError
from tests.browser.make_fixture_db import make_fixture_db

FORKS = pytest.mark.skipif(sys.platform != "linux", reason="one process does it all here")


def read_bytes(folder) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): sha256(path.read_bytes()).hexdigest() for path in folder.rglob("*") if path.is_file()
    }


def test_every_thing_is_in_one_part():
    for count in (0, 1, 5, 8, 9, 100):
        parts = split_evenly(list(range(count)), 8)
        assert [x for part in parts for x in part] == list(range(count)) and all(parts)
        assert not parts or max(map(len, parts)) - min(map(len, parts)) <= 1
    assert count_processors() >= 1


@FORKS
def test_two_processes_write_what_one_writes(tmp_path):
    db = make_fixture_db(tmp_path / "a.duckdb", vessels=5, units=6, months=14)
    one = prepare_site(db, tmp_path / "one", 1)
    three = prepare_site(db, tmp_path / "three", 3)
    assert one.summary.pages == three.summary.pages and len(one.summary.pages) > 60
    assert read_bytes(one.new) == read_bytes(three.new)


@FORKS
def test_work_is_done_elsewhere_in_the_order_of_its_parts():
    done = share_work(lambda part: (part, os.getpid()), list(range(9)), 3)
    assert [part for part, _ in done] == list(range(9))
    assert os.getpid() not in {pid for _, pid in done}
    assert {pid for _, pid in share_work(lambda part: (part, os.getpid()), [1, 2], 1)} == {os.getpid()}


@FORKS
def test_an_error_comes_through_and_nothing_goes_on():
    def work(part):
        raise OSError(28, "No space left on device", f"page-{part}.html")

    with pytest.raises(OSError, match="No space left") as caught:
        share_work(work, [1, 2, 3], 2)
    assert caught.value.filename.startswith("page-")
    assert not multiprocessing.active_children()


@FORKS
def test_a_process_ended_from_outside_is_told_in_a_sentence():
    with pytest.raises(UserError) as caught:
        share_work(lambda part: os.kill(os.getpid(), signal.SIGKILL), [1, 2, 3], 2)
    assert caught.value.slug == "writer-ended" and "memory" in str(caught.value)
    assert not multiprocessing.active_children()


@FORKS
def test_children_end_with_their_parent(tmp_path):
    """A parent that is killed while its children write: none of them writes on."""
    tick = tmp_path / "tick"
    parent = os.fork()
    if not parent:
        share_work(lambda part: write_for_ever(tick), [1, 2], 2)
        os._exit(0)
    wait_until(tick.exists)
    os.kill(parent, signal.SIGKILL)
    os.waitpid(parent, 0)
    wait_until(lambda: stands_still(tick))


def write_for_ever(tick) -> None:
    while True:
        with tick.open("a") as file:
            file.write(".")


def stands_still(tick) -> bool:
    size = tick.stat().st_size
    os.sched_yield()
    signal.sigtimedwait([], 0.2)
    return tick.stat().st_size == size


def wait_until(holds) -> None:
    for _ in range(100):
        if holds():
            return
        signal.sigtimedwait([], 0.1)
    raise AssertionError("it never came true")


def list_children() -> list[int]:
    """Numbers of this process's children that run."""
    return [child.pid for child in multiprocessing.active_children()]


@FORKS
@pytest.mark.parametrize("processes", [1, 2, 3])
def test_work_begun_beside_is_finished_in_the_order_of_its_parts(processes):
    with Beside(lambda part: (part, os.getpid()), list("abcdefgh"), processes) as beside:
        done = beside.finish()
    assert [part for part, _ in done] == list("abcdefgh") and not list_children()
    assert (os.getpid() in {pid for _, pid in done}) == (processes == 1)


@FORKS
def test_every_part_beside_is_done_once_while_the_parent_does_other_things(tmp_path):
    def work(part):
        with open(tmp_path / "done", "a") as file:  # short lines that are appended stay whole
            file.write(f"{part}\n")
        return part

    parts = list(range(255))
    with Beside(work, parts, 3) as beside:
        wait_until((tmp_path / "done").exists)  # begun before it is asked to finish
        assert beside.finish() == parts
    assert sorted(map(int, (tmp_path / "done").read_text().split())) == parts


@FORKS
def test_an_error_beside_comes_through_and_nothing_goes_on():
    def work(part):
        raise OSError(28, "No space left on device", f"page-{part}.html")

    with pytest.raises(OSError, match="No space left"), Beside(work, [1, 2, 3], 2) as beside:
        beside.children[0][0].join(10)
        beside.finish()
    assert not list_children()


@FORKS
def test_a_process_ended_beside_is_told_in_a_sentence():
    with pytest.raises(UserError) as caught, Beside(lambda part: os.kill(os.getpid(), signal.SIGKILL), [1, 2], 2) as beside:
        beside.children[0][0].join(10)
        os.read(beside.numbers, 1)  # nothing is left to do: what it had taken is lost
        beside.finish()
    assert caught.value.slug == "writer-ended" and not list_children()


@FORKS
def test_what_goes_on_beside_ends_where_the_parent_fails(tmp_path):
    tick = tmp_path / "tick"
    with pytest.raises(RuntimeError, match="half way"), Beside(lambda part: write_for_ever(tick), [1, 2], 2):
        wait_until(tick.exists)
        raise RuntimeError("half way")
    assert not list_children()
    assert stands_still(tick)


@FORKS
def test_work_beside_ends_with_its_parent(tmp_path):
    tick = tmp_path / "tick"
    parent = os.fork()
    if not parent:
        with Beside(lambda part: write_for_ever(tick), [1, 2], 2):
            signal.sigtimedwait([], 60)
        os._exit(0)
    wait_until(tick.exists)
    os.kill(parent, signal.SIGKILL)
    os.waitpid(parent, 0)
    wait_until(lambda: stands_still(tick))


def test_the_collector_is_as_it_was(monkeypatch):
    before = gc.get_freeze_count()
    with pytest.raises(RuntimeError), keep_from_collector() as all_is_read:
        assert not gc.isenabled()
        all_is_read()
        assert gc.isenabled() and gc.get_freeze_count() > before
        raise RuntimeError
    assert gc.isenabled() and gc.get_freeze_count() == 0
