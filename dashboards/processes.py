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
