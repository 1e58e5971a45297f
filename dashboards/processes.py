"""Work shared out to processes, since one Python process writes pages on one processor only.

In: a function, parts of the work, how many processes. Out: what the function gives for each part, in the parts' order, or the first
error. The processes are forks: they have what this one has read, and nothing is sent but what comes back. Nobody else's threads may
run while they fork, so no database is open then. Where a system doesn't fork safely, one process does it all.
"""

from __future__ import annotations

import ctypes
import gc
import multiprocessing
import os
import signal
import sys
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from typing import Any

from pipeline.errors import UserError

PARTS_A_PROCESS = 4  # so that one that is done early takes from the others
PARTS_BESIDE = 10  # the same, of work that is begun while others read: the last parts are waited for
MOST_PARTS = 255  # that are told apart by a byte
DIE_WITH_PARENT = 1  # PR_SET_PDEATHSIG of prctl(2)
_work: Callable[[Any], Any] | None = None


def count_processors() -> int:
    """As many as this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def split_evenly(things: Sequence[Any], parts: int) -> list[Sequence[Any]]:
    """As many runs of neighbours, none empty."""
    bounds = [len(things) * i // parts for i in range(parts + 1)]
    return [things[low:high] for low, high in zip(bounds, bounds[1:], strict=False) if low < high]


def start_child() -> None:
    """A child leaves the keyboard to its parent and ends with it: what goes on writing would bring a swept folder back."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    ctypes.CDLL(None).prctl(DIE_WITH_PARENT, signal.SIGKILL)


def run_work(part: Any) -> Any:
    """In the child: the work that it was forked with."""
    if _work is None:
        raise RuntimeError("forked without work")
    return _work(part)


def share_work(work: Callable[[Any], Any], parts: Sequence[Any], processes: int) -> list[Any]:
    """Do every part. Raises what the work raises, and UserError writer-ended where a process was ended from outside."""
    global _work
    if processes < 2 or len(parts) < 2 or sys.platform != "linux":
        return [work(part) for part in parts]
    _work = work
    try:
        context = multiprocessing.get_context("fork")
        with ProcessPoolExecutor(min(processes, len(parts)), mp_context=context, initializer=start_child) as pool:
            try:
                return list(pool.map(run_work, parts))
            except BaseException as error:
                for child in multiprocessing.active_children():
                    child.terminate()
                if isinstance(error, BrokenProcessPool):
                    raise UserError("writer-ended") from error
                raise
    finally:
        _work = None


class Beside:
    """Work that other processes begin while this one still reads, and that all of them finish together.

    Parts are dealt out by a pipe that holds their numbers, a byte each: whoever reads one has it, and one who is killed holds no lock.
    """

    def __init__(self, work: Callable[[Any], Any], parts: Sequence[Any], processes: int) -> None:
        """`processes` as for share_work, at most 255 parts; nothing begins before `with`."""
        self.work, self.parts, self.processes = work, parts, processes
        self.children: list[tuple[Any, Any]] = []
        self.numbers, writes = os.pipe()
        os.write(writes, bytes(range(len(parts))))
        os.close(writes)

    def take(self) -> list[tuple[int, Any]]:
        """Do parts until none is left; each with its number."""
        done = []
        while number := os.read(self.numbers, 1):
            done.append((number[0], self.work(self.parts[number[0]])))
        return done

    def _begin(self, says: Any) -> None:
        """In the child: until none is left, then send what was done, or the error."""
        start_child()
        gc.freeze()
        gc.enable()
        try:
            said = (self.take(), None)
        except Exception as error:
            said = ([], error)
        says.send(said)

    def __enter__(self) -> Beside:
        if self.processes > 1 and len(self.parts) > 1 and sys.platform == "linux":
            context = multiprocessing.get_context("fork")
            for _ in range(self.processes - 1):
                hears, says = context.Pipe(duplex=False)
                child = context.Process(target=self._begin, args=(says,), daemon=True)
                child.start()
                says.close()
                self.children.append((child, hears))
        return self

    def finish(self) -> list[Any]:
        """What the work gives for each part, in the parts' order. Raises as share_work does."""
        taken = share_work(lambda _: self.take(), range(self.processes), self.processes)
        for _, hears in self.children:
            try:
                done, error = hears.recv()
            except EOFError as ended:
                raise UserError("writer-ended") from ended
            if error is not None:
                raise error
            taken.append(done)
        return [what for _, what in sorted((pair for done in taken for pair in done), key=lambda pair: pair[0])]

    def __exit__(self, *about: object) -> None:
        """No child is left, whatever happened."""
        for child, hears in self.children:
            child.kill()
            child.join()
            hears.close()
        os.close(self.numbers)


@contextmanager
def keep_from_collector() -> Iterator[Callable[[], None]]:
    """What is read meanwhile isn't looked through for garbage time and again: it stays to the end. Call what this gives when all is read.

    A collection would also touch, and so copy, every page of memory that forked processes share.
    """
    was_on = gc.isenabled()
    gc.disable()

    def go_on() -> None:
        gc.freeze()
        if was_on:
            gc.enable()

    try:
        yield go_on
    finally:
        gc.unfreeze()
        if was_on:
            gc.enable()
