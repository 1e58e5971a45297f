"""`make bench`: fleets of several sizes; each thing measured in a process of its own, one after the other. Out: a table, a JSON, a chart."""

from __future__ import annotations

import argparse
import shutil
from pathlib import Path

from tests.benchmarks.measure import measure_fleet, summarize
from tests.benchmarks.show import print_tables, write_chart, write_json

RESULTS = Path(__file__).parent / "results"


def main() -> None:
    """Read the command line, measure, and write."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks")
    parser.add_argument("--vessels", type=int, nargs="+", default=[10, 100, 1000])
    parser.add_argument("--repeats", type=int, default=5, help="the medians of so many (default: 5)")
    parser.add_argument("--work", type=Path, required=True, help="folder for fleets and databases: 2 GB a thousand vessels")
    parser.add_argument("--memory", default="1400MB", help="what a run may hold in DuckDB (default: 1400MB)")
    parser.add_argument("--only-runs", action="store_true", help="the bare load and the whole run alone")
    parser.add_argument("--out", type=Path, default=RESULTS)
    parser.add_argument("--keep", action="store_true", help="leave the work folder as it is at the end")
    options = parser.parse_args()
    measured = [
        measure_fleet(count, options.work, options.repeats, options.memory, options.only_runs) for count in options.vessels
    ]
    results = summarize(measured)
    print_tables(results)
    options.out.mkdir(parents=True, exist_ok=True)
    write_json(results, options.out / "bench.json")
    write_chart(results, options.out / "bench.svg")
    if not options.keep:
        shutil.rmtree(options.work, ignore_errors=True)


if __name__ == "__main__":
    main()
