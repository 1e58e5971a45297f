"""Properties that any right reference has, whatever the fleet: a check of the reference by other means.

In: hypothesis' fleets and seeds. Out: order of rows is of no effect; a further satisfactory event never makes anything
later; parts fit wholes; the generator keeps its promises (unique keys, no event before manufacture, edges are hit).
"""

import random
from collections import Counter
from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import HealthCheck, given, settings

from tests.property.canonical import KEYS, complete_imo_number
from tests.property.lateness import ANY_DUTY, BASELINE, FLEET
from tests.property.random_fleets import LAST_DAY_OF_ALL, draw_fleet, make_seeded_batch, make_seeded_fleet
from tests.property.reference_lateness import measure_lateness

SEEDS = [*range(4), *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(4, 30))]
lightly = settings(max_examples=15, deadline=None, suppress_health_check=list(HealthCheck))


@lightly
@given(fleet=draw_fleet())
def test_row_order_is_of_no_effect(fleet):
    shuffled = {name: random.Random(0).sample(rows, len(rows)) for name, rows in fleet.list_tables().items()}
    assert measure_lateness(replace(fleet, **shuffled)) == measure_lateness(fleet)


@pytest.mark.parametrize("seed", SEEDS)
def test_parts_fit_wholes(seed):
    fleet = make_seeded_fleet(seed)
    monthly = measure_lateness(fleet).monthly
    for (month_end, imo_number, duty), row in monthly.items():
        assert 0 <= row.overdue <= row.units - row.unknown
        assert 0 <= row.overdue_unit_days <= row.unit_days
        assert row.unit_days > 0
        if duty == ANY_DUTY:
            parts = [monthly[month_end, imo_number, d.name] for d in BASELINE if d.in_any_duty]
            late_days = [part.overdue_unit_days for part in parts]
            assert max(late_days) <= row.overdue_unit_days <= sum(late_days)
            assert {part.unit_days for part in parts} == {row.unit_days}
        if imo_number == FLEET:
            vessels = [r for (m, i, d), r in monthly.items() if (m, d) == (month_end, duty) and i != FLEET]
            assert tuple(map(sum, zip(*vessels, strict=True))) == tuple(row)


@pytest.mark.parametrize("seed", SEEDS)
def test_overdue_now_is_the_last_row(seed):
    fleet = make_seeded_fleet(seed)
    lateness = measure_lateness(fleet)
    counted = Counter((row.imo_number, row.duty) for row in lateness.now)
    last = {
        (imo_number, duty): row.overdue
        for (month_end, imo_number, duty), row in lateness.monthly.items()
        if month_end == fleet.as_of and FLEET != imo_number and duty != ANY_DUTY and row.overdue
    }
    assert counted == last
    assert all(row.days_overdue > 0 and (row.due_on > row.basis_on or row.duty == "recharge_after_use") for row in lateness.now)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_further_pressure_test_makes_nothing_later(seed):
    """A pressure test satisfies all three duties of a unit, so lateness can only fall; unit-days stay."""
    fleet = make_seeded_fleet(seed)
    unit = fleet.unit[seed % len(fleet.unit)]
    day = fleet.as_of - timedelta(days=seed)
    test = {"unit_id": unit["unit_id"], "imo_number": unit["imo_number"], "serviced_on": day,
            "kind": "pressure_test", "outcome": "satisfactory"}  # fmt: skip
    before = measure_lateness(fleet).monthly
    after = measure_lateness(replace(fleet, service=[*fleet.service, test])).monthly
    for key in before.keys() & after.keys():
        assert after[key].overdue_unit_days <= before[key].overdue_unit_days
        assert after[key].unit_days == before[key].unit_days


@pytest.mark.parametrize("seed", SEEDS)
def test_generated_rows_are_valid(seed):
    fleet = make_seeded_batch(seed, 2)
    for table, rows in fleet.list_tables().items():
        keys = Counter(tuple(row.get(column) for column in KEYS[table]) for row in rows)
        assert set(keys.values()) <= {1}, f"{table}: a key twice"
    assert all(row["imo_number"] == complete_imo_number(int(row["imo_number"][:6])) for row in fleet.vessel)
    made_on = {}
    for row in fleet.unit:
        began_on = row["in_service_on"] or row["made_on"]
        if row["made_on"]:
            made_on[row["unit_id"]] = max(row["made_on"], made_on.get(row["unit_id"], row["made_on"]))
            assert row["made_on"] <= began_on
        assert not row.get("removed_on") or not began_on or began_on <= row["removed_on"]
    for row in [*fleet.inspection, *fleet.service]:
        day = row.get("inspected_on") or row["serviced_on"]
        assert made_on.get(row["unit_id"], day) <= day <= LAST_DAY_OF_ALL


def test_generated_fleets_reach_the_edges():
    """Each trait the comparison is meant to try occurs in the seeded batches of the default run."""
    fleets = [make_seeded_fleet(seed) for seed in range(24)]
    events = [(f, row, row.get("inspected_on") or row["serviced_on"]) for f in fleets for row in (*f.inspection, *f.service)]
    units = [row for fleet in fleets for row in fleet.unit]
    stays = Counter(row["unit_id"] + str(i) for i, fleet in enumerate(fleets) for row in fleet.unit)
    rows = [row for fleet in fleets for row in measure_lateness(fleet).monthly.values()]
    traits = {
        "event on the day judged on": sum(day == fleet.as_of for fleet, _, day in events),
        "event after it": sum(day > fleet.as_of for fleet, _, day in events),
        "29 February": sum((day.month, day.day) == (2, 29) for _, _, day in events),
        "month end": sum((day + timedelta(days=1)).day == 1 for _, _, day in events),
        "empty outcome": sum(row["outcome"] is None for _, row, _ in events),
        "more than one stay": sum(n > 1 for n in stays.values()),
        "spare": sum(bool(row.get("is_spare")) for row in units),
        "landed": sum(bool(row.get("landed_from")) for row in units),
        "no made_on": sum(row["made_on"] is None for row in units),
        "no in_service_on": sum(row["in_service_on"] is None for row in units),
        "neither": sum(row["in_service_on"] is None and row["made_on"] is None for row in units),
        "year only": sum(row["made_on_precision"] == "year" for row in units),
        "wheeled": sum(row.get("form") == "wheeled" for row in units),
        "laid up": sum(bool(row.get("laid_up_from")) for fleet in fleets for row in fleet.vessel),
        "joined later": sum(bool(row.get("joined_on")) for fleet in fleets for row in fleet.vessel),
        "unknown": sum(row.unknown > 0 for row in rows),
        "units 0 with unit_days": sum(row.units == 0 for row in rows),
        "partly late month": sum(0 < row.overdue_unit_days < row.unit_days for row in rows),
    }
    assert not [trait for trait, count in traits.items() if count < 3], traits
