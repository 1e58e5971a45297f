"""The other figures as the references have them: dicts from a row's key to its values.

In: a finished database file. Out: rows of figure.* read through pipeline_door.query, each key once, and a comparison.
"""

import math
from collections import Counter, defaultdict
from collections.abc import Sequence
from pathlib import Path

from tests.property.pipeline_door import name_units, query

Rows = dict[tuple[object, ...], tuple[object, ...]]


def read_rows(db: Path, keys: str, values: str, source: str) -> Rows:
    """One row per key, or the table says two things of one."""
    width = len(keys.split(","))
    rows = query(db, f"SELECT {keys}, {values} FROM {source}")
    repeated = [key for key, n in Counter(row[:width] for row in rows).items() if n > 1]
    assert not repeated, f"{source}: more than one row for {repeated[:5]}"
    return {row[:width]: row[width:] for row in rows}


def read_duties_now(db: Path) -> Rows:
    """A sample group is told by the units in it; two groups may have the same, so the rows of a key are a list."""
    members: dict[tuple[str, str], set[str]] = defaultdict(set)
    joined = "SELECT imo_number, group_id, unit_id FROM duty.sample_group, intake.run WHERE joined_on <= as_of"
    for imo_number, group_id, unit_id in query(db, joined):
        members[imo_number, group_id].add(unit_id)
    found: dict[tuple[object, ...], list[tuple[object, ...]]] = defaultdict(list)
    rows = read_rows(db, "imo_number, duty, unit_id", "state, basis_on, due_on, days_overdue", "figure.duty_now")
    for (imo_number, duty, holder), row in rows.items():
        found[imo_number, duty, name_units(members, imo_number, duty, holder)].append(row)
    return {key: tuple(sorted(rows_of_key, key=str)) for key, rows_of_key in found.items()}


def read_due_ahead(db: Path) -> Rows:
    return read_rows(db, "imo_number, duty, week_start", "due", "figure.due_ahead")


def read_units_now(db: Path) -> Rows:
    values = "counted, age_years, last_inspected_on, last_serviced_on, open_findings, overdue_duties"
    return read_rows(db, "imo_number, unit_id, in_service_on", values, "figure.unit_now")


def read_mix(db: Path) -> Rows:
    """Of kinds that have a unit in service; a row may also be there for its spare charges alone."""
    values = "units, total_charge_l, total_charge_kg, obsolete_units"
    rows = read_rows(db, "imo_number, agent, agent_detail, foam_kind", values, "figure.agent_mix")
    return {key: row for key, row in rows.items() if row[0]}


def read_spares(db: Path) -> Rows:
    """Held by vessel and agent: on one row of the agent, else a reader who adds the rows counts them twice."""
    rows = query(db, "SELECT imo_number, agent, count(spare_charges_held), sum(spare_charges_held)::int"
                     " FROM figure.agent_mix GROUP BY ALL")  # fmt: skip
    assert all(rows_filled <= 1 for _, _, rows_filled, _ in rows)
    return {(imo_number, agent): (held,) for imo_number, agent, _, held in rows}


def read_freshness(db: Path) -> Rows:
    return read_rows(db, "imo_number", "last_record_on, days_since", "figure.freshness")


def read_defect_rates(db: Path) -> Rows:
    values = ("findings, unit_years, per_100_unit_years, low, high, is_rated, reports, repeat_share, closed,"
              " days_to_close_median")  # fmt: skip
    every = "figure.defect_rate WHERE maker = '*' AND provider = '*'"  # those: tests/spec/test_defect_figures.py
    return read_rows(db, "period, imo_number, component, defect, agent, space_category", values, every)


def read_corrosion(db: Path) -> Rows:
    worst = ", ".join(f"worst_{grade}" for grade in ("ri1", "ri2", "ri3", "ri4", "ri5", "ungraded"))
    values = f"units, units_corroded, share, low, high, {worst}"
    return read_rows(db, "age_band_years, agent, lining, space_category", values, "figure.corrosion_by_age")


def is_same(expected: object, found: object) -> bool:
    """Exactly; floats to 1e-9, and never a number for an empty cell."""
    if isinstance(expected, (tuple, list)) and isinstance(found, (tuple, list)):
        return len(expected) == len(found) and all(map(is_same, expected, found))
    if isinstance(expected, float) or isinstance(found, float):
        return None not in (expected, found) and math.isclose(expected, found, rel_tol=1e-9, abs_tol=1e-12)
    return expected == found and type(expected) is type(found)


def list_differences(expected: Rows, found: Rows) -> list[str]:
    """Readable lines, at most ten; none where both are equal."""
    keys = [key for key in expected | found if not is_same(expected.get(key), found.get(key))]
    lines = [f"{key}: expected {expected.get(key)}, found {found.get(key)}" for key in sorted(keys, key=str)[:10]]
    return [f"{len(keys)} rows differ", *lines] if keys else []


def add_rows(rows: Sequence[tuple[object, ...]]) -> tuple[object, ...]:
    return tuple(map(sum, zip(*rows, strict=True)))
