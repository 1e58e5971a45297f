"""Command line. In: `sample OUT` or `canonical OUT --vessels N --years Y --units U --seed S`. Out: a folder of exports."""

from __future__ import annotations

import argparse
from pathlib import Path

from .write_canonical import write_canonical


def main() -> None:
    """Read the command line and write a folder."""
    parser = argparse.ArgumentParser(prog="python -m tests.simulator")
    verbs = parser.add_subparsers(dest="verb", required=True)
    sample = verbs.add_parser("sample", help="the sample exports")
    sample.add_argument("out", type=Path)
    canonical = verbs.add_parser("canonical", help="a fleet as canonical CSVs")
    canonical.add_argument("out", type=Path)
    canonical.add_argument("--vessels", type=int, default=12)
    canonical.add_argument("--years", type=int, default=8)
    canonical.add_argument("--units", type=int, default=45)
    canonical.add_argument("--seed", type=int, default=1)
    canonical.add_argument("--split", choices=["vessel-year", "year"], default="vessel-year")
    args = parser.parse_args()
    if args.verb == "sample":
        from .write_sample import write_sample

        write_sample(args.out)
    else:
        write_canonical(args.out, args.vessels, args.years, args.units, args.seed, args.split)


if __name__ == "__main__":
    main()
