"""Each thing in a process of its own. In: a number of vessels. Out: seconds, processor seconds, memory and rows, medians of the repeats."""

from __future__ import annotations

import json
import math
import os
import shutil
import statistics
import subprocess
import sys
import time
from pathlib import Path


def call(module: str, *arguments: str | Path) -> dict:
    """What a module prints as JSON, with wall and processor seconds and the most memory (MiB) of its process. RuntimeError if it fails."""
    command = [sys.executable, "-m", f"tests.benchmarks.{module}", *map(str, arguments)]
    started = time.perf_counter()
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        said = process.stdout.read()
        _, status, used = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise RuntimeError(f"{' '.join(command)} ended with {process.returncode}")
    spent = {"wall": time.perf_counter() - started, "cpu": used.ru_utime + used.ru_stime, "memory": used.ru_maxrss / 1024}
    return json.loads(said.splitlines()[-1]) | spent


def measure_fleet(vessels: int, work: Path, repeats: int, memory: str, only_runs: bool, keep: bool = False) -> dict:
    """All of one fleet: what -> list of measurements, one a repeat. The order is the same in each, so that ratios share their time.

    With `keep` the fleet's exports and databases stay: whole.duckdb, and month.duckdb with the month more.
    """
    place = work / f"fleet_{vessels}"
    # apart: a process is told to have held what its parent did when it was started
    subprocess.run([sys.executable, "-m", "tests.benchmarks.make_fleet", str(place), str(vessels)], check=True)
    exports, found = place / "exports", {}
    size = sum(path.stat().st_size for path in exports.rglob("*.csv"))
    for _ in range(repeats):
        _clear(place)
        _note(found, "bare load", call("bare_load", exports, place / "bare.duckdb"))
        if not only_runs:
            _note(found, "plain pandas", call("pandas_plain", exports))
            _note(found, "tuned pandas", call("pandas_overdue", exports))
            _note(found, "overdue alone", call("overdue_alone", exports))
        _note(found, "whole run", call("whole_run", exports, place / "store", place / "whole.duckdb", memory))
        if not only_runs:
            for what, units in (("pages but units'", ""), ("whole site", "units")):
                _note(found, what, call("site_pages", place / "whole.duckdb", place / "site", units))
            shutil.rmtree(place / "site")
            _add_month(place)
            _note(found, "a month more", call("whole_run", exports, place / "store", place / "month.duckdb", memory))
            _take_month(place)
    if not keep:
        shutil.rmtree(place)
    return {"vessels": vessels, "bytes": size, "repeats": repeats, "memory_setting": memory, "found": found}


def _note(found: dict, what: str, measured: dict) -> None:
    found.setdefault(what, []).append(measured)
    print(
        f"{what:16s} {measured['wall']:8.1f} s, {measured['cpu']:8.1f} s of processor time, {measured['memory']:6.0f} MiB",
        flush=True,
    )


def _clear(place: Path) -> None:
    shutil.rmtree(place / "store", ignore_errors=True)
    for path in place.glob("*.duckdb*"):
        path.unlink()


def _month_files(place: Path) -> list[tuple[Path, Path]]:
    month = place / "month"
    return [(path, place / "exports" / path.relative_to(month)) for path in sorted(month.rglob("*.csv"))]


def _add_month(place: Path) -> None:
    for source, target in _month_files(place):
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(source, target)


def _take_month(place: Path) -> None:
    for _, target in _month_files(place):
        target.unlink()
        if not any(target.parent.iterdir()):
            target.parent.rmdir()


def summarize(measured: list[dict]) -> dict:
    """Medians a fleet, ratios within each repeat (their medians), and the growth from each fleet to the next."""
    fleets = []
    for fleet in measured:
        found = fleet.pop("found")
        medians = {what: _medians(runs) for what, runs in found.items()}
        ratios = {
            f"{what} : {to}": statistics.median(a["wall"] / b["wall"] for a, b in zip(found[what], found[to], strict=True))
            for what, to in (("whole run", "bare load"), ("overdue alone", "bare load"), ("a month more", "whole run"),
                             ("plain pandas", "whole run"), ("plain pandas", "overdue alone"),
                             ("tuned pandas", "whole run"), ("tuned pandas", "overdue alone"))
            if what in found and to in found
        }  # fmt: skip
        fleets.append(fleet | {"medians": medians, "ratios": ratios} | _divide_pages(found))
    growth = {
        f"{a['vessels']} to {b['vessels']}": {
            what: math.log(b["medians"][what]["cpu"] / a["medians"][what]["cpu"]) / math.log(b["vessels"] / a["vessels"])
            for what in b["medians"] if what in a["medians"]
        }
        for a, b in zip(fleets, fleets[1:], strict=False)
    }  # fmt: skip
    return {"cores": os.cpu_count(), "fleets": fleets, "growth": growth}


def _divide_pages(found: dict) -> dict:
    """Milliseconds a vessel for all pages but the units', written alone, and a unit's page, from what writing these too adds."""
    alone, whole = found.get("pages but units'", []), found.get("whole site", [])
    if not alone:
        return {}
    pages = whole[0]["rows"] - alone[0]["rows"]
    more = statistics.median(b["wall"] - a["wall"] for a, b in zip(alone, whole, strict=True))
    vessels = statistics.median(run["wall"] for run in alone) / alone[0]["vessels"]
    return {"pages": {"unit_pages": pages, "ms_a_vessel": 1000 * vessels, "ms_a_unit_page": 1000 * more / pages}}


def _medians(runs: list[dict]) -> dict:
    """Medians of the numbers; stages by their place."""
    middle = {key: statistics.median(run[key] for run in runs) for key in ("wall", "cpu", "memory", "rows")}
    if "stages" in runs[0]:
        middle["stages"] = [
            [stages[0][0], *(statistics.median(stage[place] for stage in stages) for place in (1, 2, 3))]
            for stages in zip(*(run["stages"] for run in runs), strict=True)
        ]
    return middle
