"""`firekpi` in a process of its own, again and again, without its three seconds of imports: fork after them.

In: one JSON object a line: `args`, `cwd`, and what shall go wrong (see `spoil`). Out: one JSON object a line about it.
Each call is a whole process that runs pipeline.cli.main and can be killed as one.
"""

from __future__ import annotations

import ctypes
import importlib
import json
import os
import pkgutil
import re
import resource
import signal
import sys
import time
from contextlib import contextmanager

from dashboards.charts import make_axis, write_figure
from dashboards.render import make_environment
from pipeline.figures.build import FIGURES

# What changes the disk, as Python's audit events name it (sys.audit); os.replace is an os.rename there.
CHANGES = ("os.rename", "os.link", "os.remove", "os.mkdir", "os.rmdir", "os.truncate")
CAP_DAC_OVERRIDE, CAP_DAC_READ_SEARCH = 1, 2


def serve() -> None:
    """Import all that a run needs, then answer requests until the input ends."""
    for name in ("dashboards.site", "pipeline.checks.gx_duckdb", "pipeline.cli", "pipeline.run", "pipeline.tell"):
        importlib.import_module(name)
    figures = {module.name for module in pkgutil.iter_modules(importlib.import_module("pipeline.figures").__path__)}
    for name in figures & set(FIGURES):
        importlib.import_module(f"pipeline.figures.{name}")
    templates = make_environment()
    for name in templates.list_templates(extensions=["html"]):
        templates.get_template(name)
    write_figure([{"type": "bar"}, {"type": "scatter"}], {"xaxis": make_axis("x", 1)}, 100)
    make_runs_light()
    for line in sys.stdin:
        print(json.dumps(answer(json.loads(line))), flush=True)


def make_runs_light() -> None:
    """As most tests do: the second count of failing rows in plain SQL, one thread."""
    from pipeline.checks import gx_duckdb
    from pipeline.warehouse.build import CONNECTION
    from tests.conftest import count_plainly

    gx_duckdb.count_failing = count_plainly
    CONNECTION["threads"] = "1"


def answer(request: dict, said: dict[int, int] = {}) -> dict:  # noqa: B006 - one a server: process to what it says
    """Start a run, or let one go on, and say how it ended or that it stopped to wait."""
    started = time.monotonic()
    pid = request.get("go_on")
    if pid:
        os.kill(pid, signal.SIGCONT)
    else:
        reading, writing = os.pipe()  # no file: it would be subject to the limit of a file's size
        pid = os.fork()
        if pid == 0:
            run_as_child(request, writing)
        os.close(writing)
        said[pid] = reading
    if "kill_after" in request:
        time.sleep(request["kill_after"])
        os.kill(pid, signal.SIGKILL)
    _, status = os.waitpid(pid, os.WUNTRACED)
    if os.WIFSTOPPED(status):
        return {"pid": pid, "waits": True}
    with open(said.pop(pid), encoding="utf-8") as stream:
        err = stream.read()
    return {"pid": pid, "code": os.waitstatus_to_exitcode(status), "err": err, "seconds": time.monotonic() - started}


def run_as_child(request: dict, errors: int) -> None:
    """The forked process: its own folder and streams, the fault, then the command as a user gives it."""
    code = 99
    try:
        os.chdir(request["cwd"])
        sys.argv = ["firekpi", *request["args"]]
        sys.stdout = open(os.devnull, "w", encoding="utf-8")
        os.dup2(errors, 2)
        sys.stderr = open(2, "w", encoding="utf-8", closefd=False)
        from pipeline import cli

        spoil(request)
        code = cli.main(request["args"])
    except BaseException:
        import traceback

        traceback.print_exc()
    finally:
        sys.stderr.flush()
        os._exit(code)


def spoil(request: dict) -> None:
    """Prepare the fault that is asked for: a signal at a stage, a kill before a change of the disk, no room, no rights."""
    if "at_stage" in request:
        signal_at_stage(request["at_stage"], getattr(signal, request.get("signal", "SIGKILL")))
    if "at_change" in request:
        kill_before_change(request["at_change"], tuple(request.get("changes", CHANGES)), request.get("named", ""))
    if request.get("cannot_exchange"):
        from dashboards import site

        site.exchange_folders = lambda one, other: False
    if "bytes_a_file" in request:
        resource.setrlimit(resource.RLIMIT_FSIZE, (request["bytes_a_file"],) * 2)
    if request.get("is_bound"):
        obey_permissions()


def signal_at_stage(number: int, what: int) -> None:
    """Send this process a signal when the run announces its stage of that number, counted from 0."""
    from pipeline import cli

    @contextmanager
    def progress():
        seen = []

        def tell(stage: str) -> None:
            if len(seen) == number:
                os.kill(os.getpid(), what)
            seen.append(stage)

        yield tell

    cli._progress = progress


def kill_before_change(number: int, changes: tuple[str, ...], named: str) -> None:
    """Kill this process just before its change of the disk of that number, counted from 0, to paths that match `named`."""
    from dashboards import site

    left, exchange = [number], site.exchange_folders

    def count(event: str, details: tuple) -> None:
        if event in changes and re.search(named, os.fsdecode(details[0])):
            if left[0] == 0:
                os.kill(os.getpid(), signal.SIGKILL)
            left[0] -= 1

    def count_exchange(one, other) -> bool:
        count("os.rename", (one,))
        return exchange(one, other)

    sys.addaudithook(count)
    site.exchange_folders = count_exchange  # it goes past Python's audit


def obey_permissions() -> None:
    """Give up root's right to pass over permission bits: the files of root are then as a user's own."""
    if os.geteuid() != 0:
        return
    libc = ctypes.CDLL(None, use_errno=True)
    header = (ctypes.c_uint32 * 2)(0x20080522, 0)  # _LINUX_CAPABILITY_VERSION_3, this process
    sets = (ctypes.c_uint32 * 6)()
    if libc.capget(header, sets):
        raise OSError(ctypes.get_errno(), "capget")
    for place in range(3):  # effective, permitted, inheritable; low words first
        sets[place] &= ~(1 << CAP_DAC_OVERRIDE | 1 << CAP_DAC_READ_SEARCH)
    if libc.capset(header, sets):
        raise OSError(ctypes.get_errno(), "capset")


if __name__ == "__main__":
    serve()
