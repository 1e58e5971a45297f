"""What the fleets of random_fleets lack: findings, spare charges, and what tells units apart in other figures.

In: a seed. Out: the batch that make_seeded_batch gives for it (its draws stay as they are), with findings, spares, and
spaces, linings, details and kinds of foam on its units. All rows are valid. On purpose it holds defects reported again
while open, on the day they were closed, after it, or in a chain; findings with no look on their day, after the last
look, after as_of, before the stay, on another vessel; graded, ungraded and Ri0 rust; units of no known agent or space.
"""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

from tests.property.canonical import Fleet, Row
from tests.property.choosers import Chooser, SeededChooser
from tests.property.random_events import find_vessel
from tests.property.random_fleets import LAST_DAY_OF_ALL, make_seeded_batch

SEED_OFFSET = 50_000  # so that a seed's findings do not copy the draws of the same seed's fleet
CORRODED = ("shell", "corrosion")
KINDS = (
    CORRODED, CORRODED, CORRODED, ("lining", "corrosion"), ("hose", "damaged"), ("hose", "damaged"), ("hose", "leak"),
    ("gauge", "other"), ("pin", "missing"), ("charge", "missing"),
)  # fmt: skip
GRADES = (None, "Ri0", "Ri1", "Ri2", "Ri3", "Ri4", "Ri5")
SPACES = ("accommodation", "machinery", "open_deck", None)
LININGS = ("none", "zinc", None)
DETAILS = {"foam": ("AFFF", "protein", None), "powder": ("ABC", "BC"), "water": ("antifreeze additive", None)}
SIZES = (
    {"agent": "foam", "charge_l": Decimal(9)},
    {"agent": "foam", "charge_l": Decimal(45)},
    {"agent": "powder", "charge_kg": Decimal(6)},
    {"agent": "co2", "charge_kg": Decimal(5)},
    {"agent": "wet_chemical", "charge_l": Decimal(6)},  # an agent of which no vessel has a unit
    {"agent": "water"},
)


def make_full_batch(seed: int, fleets: int) -> Fleet:
    """Several fleets judged on one day, with rows for every figure."""
    fleet = make_seeded_batch(seed, fleets)
    chooser = SeededChooser(seed + SEED_OFFSET)
    units = decorate_units(chooser, fleet)
    by_unit: dict[str, list[Row]] = {}
    for stay in units:
        by_unit.setdefault(stay["unit_id"], []).append(stay)
    findings = [row for stays in by_unit.values() for row in make_findings(chooser, fleet, stays)]
    spares = [row for vessel in fleet.vessel for row in make_spares(chooser, fleet, vessel["imo_number"])]
    return replace(fleet, unit=units, finding=findings, spare=spares)


def decorate_units(chooser: Chooser, fleet: Fleet) -> list[Row]:
    """Details go with the unit, the space with the stay; now and then a later register tells another lining."""
    of_unit: dict[str, Row] = {}
    units = []
    for stay in fleet.unit:
        if stay["unit_id"] not in of_unit or chooser.has_chance(10):
            of_unit[stay["unit_id"]] = describe_unit(chooser, stay["agent"])
        units.append(stay | of_unit[stay["unit_id"]] | {"space_category": chooser.pick_one(SPACES)})
    return units


def describe_unit(chooser: Chooser, agent: object) -> Row:
    traits: Row = {
        "lining": chooser.pick_one(LININGS),
        "agent_detail": chooser.pick_one(DETAILS.get(agent, (None,))),
        "foam_kind": chooser.pick_one(["mechanical", "mechanical", "chemical", None]) if agent == "foam" else None,
        "expelled_by": chooser.pick_one(["cartridge", "stored_pressure", None]),
    }
    if agent in ("foam", "water") and chooser.has_chance(10):
        traits["expelled_by"] = "reaction"
    return {"agent": None} | traits if chooser.has_chance(6) else traits


def make_findings(chooser: Chooser, fleet: Fleet, stays: list[Row]) -> list[Row]:
    """Up to a dozen of few kinds, each on the day of a look, near the one before, or on any day."""
    unit_id = stays[0]["unit_id"]
    looks = [row["inspected_on"] for row in fleet.inspection if row["unit_id"] == unit_id]
    looks += [row["serviced_on"] for row in fleet.service if row["unit_id"] == unit_id]
    made_on = max((stay["made_on"] for stay in stays if stay["made_on"]), default=date(2010, 1, 1))
    earliest = max(made_on, min(looks, default=fleet.as_of) - timedelta(days=100))
    rows: dict[tuple[object, ...], Row] = {}
    for _ in range(chooser.pick_one([0, 0, 2, 4, 8, 12])):
        component, defect = chooser.pick_one(KINDS)
        before = [row for row in rows.values() if (row["component"], row["defect"]) == (component, defect)]
        day = pick_found_on(chooser, fleet, looks, before, earliest)
        rows[day, component, defect] = {
            "unit_id": unit_id,
            "imo_number": find_vessel(chooser, day, stays, list(fleet.vessel)),
            "found_on": day,
            "found_by": chooser.pick_one(["inspection", "service", None]),
            "component": component,
            "defect": defect,
            "rust_grade": chooser.pick_one(GRADES) if defect == "corrosion" else None,
            "closed_on": pick_closed_on(chooser, fleet, day),
        }
    return list(rows.values())


def pick_found_on(chooser: Chooser, fleet: Fleet, looks: list[date], before: list[Row], earliest: date) -> date:
    days = [fleet.as_of, earliest + timedelta(days=chooser.pick_number(0, 900))]
    days += [chooser.pick_one(looks) for _ in range(6) if looks]
    for row in before[-2:]:
        days += [row["found_on"] + timedelta(days=chooser.pick_number(1, 60)), row["closed_on"] or fleet.as_of]
    return min(max(chooser.pick_one(days), earliest), LAST_DAY_OF_ALL)


def pick_closed_on(chooser: Chooser, fleet: Fleet, found_on: date) -> date | None:
    """Never, at once, later, on the day judged on or the one after; never before it was found."""
    later = found_on + timedelta(days=chooser.pick_number(1, 120))
    last = [fleet.as_of + timedelta(days=chooser.pick_number(-1, 1))] if chooser.has_chance(30) else []
    day = chooser.pick_one([None, found_on, later, later, *last])
    return None if day is None else min(max(day, found_on), LAST_DAY_OF_ALL)


def make_spares(chooser: Chooser, fleet: Fleet, imo_number: object) -> list[Row]:
    """Counts on up to four days, one of them perhaps as_of or after it; not every size on every day."""
    days = {fleet.as_of + timedelta(days=n) for n in (-200, -40, 0, 1) if chooser.has_chance(45)}
    return [
        {"imo_number": imo_number, "counted_on": day, **size, "spare_charges": chooser.pick_one([None, 0, 2, 7, 12])}
        for day in sorted(days)
        for size in SIZES
        if chooser.has_chance(55)
    ]
