"""The run of a user, without pages, timed a stage. Called as a process: EXPORTS STORE DATABASE MEMORY ('' for the default)."""

from __future__ import annotations

import json
import resource
import sys
import time
from datetime import date
from pathlib import Path

from pipeline.run import RunOptions, run

AS_OF = date(2026, 10, 31)


def time_run(exports: Path, store: Path, db: Path, memory: str | None) -> dict:
    """Stages as (what, seconds, processor seconds, memory in MiB that was reached by its end), rows read and seconds in all."""
    stages: list[list] = []
    marks = [("starting", time.perf_counter(), time.process_time())]

    def tell(stage: str) -> None:
        what, at, used = marks[-1]
        stages.append([what, time.perf_counter() - at, time.process_time() - used, reached()])
        marks.append((stage, time.perf_counter(), time.process_time()))

    summary = run(RunOptions((exports,), store, db, AS_OF, memory=memory), tell)
    tell("")
    return {"seconds": sum(stage[1] for stage in stages), "rows": summary.rows_read, "stages": stages}


def reached() -> float:
    """The most memory that this process has held so far, in MiB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


if __name__ == "__main__":
    print(json.dumps(time_run(*map(Path, sys.argv[1:4]), sys.argv[4] or None)))
