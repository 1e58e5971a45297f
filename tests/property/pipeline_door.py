"""The one place where these tests touch the pipeline: run it on a folder, read its lateness figures back.

In: a folder of canonical exports and a day. Out: the finished database file, and its figures in the shapes of
tests/property/lateness.py. Adapt `run_pipeline` and nothing else when the pipeline's call changes.
"""

from collections import Counter, defaultdict
from datetime import date
from pathlib import Path

import duckdb

from tests.property.canonical import Fleet, write_canonical
from tests.property.lateness import ANY_DUTY, BASELINE, Lateness, MonthRow, NowRow

DUTIES = [duty.name for duty in BASELINE]
GROUP_DUTIES = {duty.name for duty in BASELINE if duty.counts == "group"}


def run_pipeline(folder: Path, workdir: Path, as_of: date) -> Path:
    from pipeline.run import RunOptions, run

    db = workdir / "figures.duckdb"
    run(RunOptions(folders=(folder,), store=workdir / "store", db=db, as_of=as_of))
    return db


def run_fleet(fleet: Fleet, workdir: Path, rules: str = "") -> Path:
    """Write, run, and make sure that nothing was lost on the way: the generator promises valid rows only."""
    folder = workdir / "exports"
    write_canonical(folder, fleet)
    if rules:
        (folder / "rules").mkdir()
        (folder / "rules" / "company.toml").write_text(rules, encoding="utf-8")
    db = run_pipeline(folder, workdir, fleet.as_of)
    assert_all_loaded(db, fleet.count_rows())
    return db


def query(db: Path, sql: str, parameters: list[object] | None = None) -> list[tuple]:
    with duckdb.connect(str(db), read_only=True) as connection:
        return connection.execute(sql, parameters or []).fetchall()


def assert_all_loaded(db: Path, rows_written: int) -> None:
    rejected = query(db, "SELECT table_name, rule, value, reason, raw FROM intake.quarantine LIMIT 5")
    assert not rejected, f"valid rows were quarantined, the first: {rejected}"
    loaded, duplicate = query(db, "SELECT sum(rows_loaded)::int, sum(rows_duplicate)::int FROM intake.file")[0]
    assert (loaded, duplicate) == (rows_written, 0)


def read_lateness(db: Path) -> Lateness:
    rows = query(
        db,
        "SELECT month_end, imo_number, duty, units, overdue, unknown, overdue_unit_days, unit_days"
        " FROM figure.overdue_monthly WHERE duty IN (SELECT unnest(?::varchar[]))",
        [[*DUTIES, ANY_DUTY]],
    )
    repeated = [key for key, n in Counter(row[:3] for row in rows).items() if n > 1]
    assert not repeated, f"more than one row for {repeated[:5]}"
    return Lateness(monthly={row[:3]: MonthRow(*row[3:]) for row in rows}, now=read_overdue_now(db))


def read_overdue_now(db: Path) -> tuple[NowRow, ...]:
    """A sample group is told by the units in it, so that its label stays the pipeline's own affair."""
    members: dict[tuple[str, str], set[str]] = defaultdict(set)
    joined = "SELECT imo_number, group_id, unit_id FROM duty.sample_group, intake.run WHERE joined_on <= as_of"
    for imo_number, group_id, unit_id in query(db, joined):
        members[imo_number, group_id].add(unit_id)
    rows = query(
        db,
        "SELECT imo_number, duty, unit_id, basis_on, due_on, days_overdue"
        " FROM figure.overdue_now WHERE duty IN (SELECT unnest(?::varchar[]))",
        [DUTIES],
    )
    return tuple(sorted(NowRow(imo, duty, name_units(members, imo, duty, holder), *dates) for imo, duty, holder, *dates in rows))


def name_units(members: dict[tuple[str, str], set[str]], imo: str, duty: str, holder: str) -> tuple[str, ...]:
    return tuple(sorted(members[imo, holder])) if duty in GROUP_DUTIES else (holder,)


def describe_differences(expected: Lateness, found: Lateness) -> list[str]:
    """Readable lines, at most ten of each figure; none where both are equal."""
    keys = sorted(key for key in expected.monthly | found.monthly if expected.monthly.get(key) != found.monthly.get(key))
    lines = [
        f"overdue_monthly {key[0]} {key[1]} {key[2]}: expected {expected.monthly.get(key)}, found {found.monthly.get(key)}"
        for key in keys[:10]
    ]
    missing = Counter(expected.now) - Counter(found.now)
    extra = Counter(found.now) - Counter(expected.now)
    lines += [f"overdue_now lacks {row}" for row in list(missing.elements())[:10]]
    lines += [f"overdue_now should not have {row}" for row in list(extra.elements())[:10]]
    return lines
