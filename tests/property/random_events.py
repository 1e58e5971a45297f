"""Inspections and services of one random unit.

In: its stays, the vessels, the window. Out: canonical rows with unique keys, none before any made_on of the unit.
Steps are a month or a year to the day, and a day either side, so that due day and event day meet.
"""

from datetime import date, timedelta
from typing import TYPE_CHECKING

from dateutil.relativedelta import relativedelta

from tests.property.canonical import Row
from tests.property.choosers import Chooser

if TYPE_CHECKING:
    from tests.property.random_fleets import Window

GOOD = "satisfactory"
PROMPT_STEPS = 3  # the first of the steps in make_next_day are never late
ALL_STEPS = 6
INSPECTION_OUTCOMES = (*[GOOD] * 12, "unsatisfactory", "not_found", "no_access", None)
SERVICE_OUTCOMES = (*[GOOD] * 7, "unsatisfactory", "unsatisfactory", None)
SERVICE_KINDS = (
    "annual_service", "annual_service", "annual_service", "pressure_test", "discharge_test", "discharge_test",
    "recharge", "cartridge_check", "repair", "condemn",
)  # fmt: skip


def make_inspections(chooser: Chooser, window: "Window", stays: list[Row], vessels: list[Row]) -> list[Row]:
    rows: dict[date, Row] = {}
    for day in make_days(chooser, window, stays, most=chooser.pick_one([0, 12, 24, 36]), months=1):
        rows[day] = {
            "unit_id": stays[0]["unit_id"],
            "imo_number": find_vessel(chooser, day, stays, vessels),
            "inspected_on": day,
            "outcome": chooser.pick_one(INSPECTION_OUTCOMES),
        }
    return list(rows.values())


def make_services(chooser: Chooser, window: "Window", stays: list[Row], vessels: list[Row]) -> list[Row]:
    rows: dict[tuple[date, str], Row] = {}
    days = make_days(chooser, window, stays, most=chooser.pick_one([0, 2, 4]), months=12)
    if chooser.has_chance(12):
        days.append(find_day_long_ago(chooser, window, stays))
    for day in days:
        for _ in range(2 if chooser.has_chance(25) else 1):
            kind = chooser.pick_one(SERVICE_KINDS)
            is_wheeled = any(stay.get("form") == "wheeled" for stay in stays)
            rows[day, kind] = {
                "unit_id": stays[0]["unit_id"],
                "imo_number": find_vessel(chooser, day, stays, vessels),
                "serviced_on": day,
                "kind": kind,
                "outcome": chooser.pick_one(SERVICE_OUTCOMES),
                "is_examination": chooser.pick_one([None, False, True]) if is_wheeled else None,
                "tested_part": chooser.pick_one([None, None, "both", "shell", "cartridge"]) if kind == "pressure_test" else None,
            }
    return list(rows.values())


def find_earliest_day(window: "Window", stays: list[Row]) -> date:
    made_on = [stay["made_on"] for stay in stays if stay["made_on"]]
    return max(made_on, default=window.first - timedelta(days=4000))


def find_day_long_ago(chooser: Chooser, window: "Window", stays: list[Row]) -> date:
    """A test five or ten years before some day of the window, so that the next one falls due in it."""
    day_in_window = window.pick_day(chooser, window.first, window.last)
    day = day_in_window - relativedelta(months=chooser.pick_one([60, 120]))
    return max(day, find_earliest_day(window, stays))


def make_days(chooser: Chooser, window: "Window", stays: list[Row], most: int, months: int) -> list[date]:
    """Rising days, some before the stay, to the window's end whether or not the unit is still there."""
    near = max(find_earliest_day(window, stays), window.first - timedelta(days=300))
    began_on = max([near, *(stay["in_service_on"] for stay in stays[:1] if stay["in_service_on"])])
    day = chooser.pick_one(
        [
            began_on,
            began_on,
            window.pick_day(chooser, near, began_on),
            window.pick_day(chooser, near, window.last),
        ]
    )
    steps = range(PROMPT_STEPS) if chooser.has_chance(50) else range(ALL_STEPS)
    days: list[date] = []
    while len(days) < most and day <= window.last:
        days.append(day)
        day = make_next_day(chooser, window, day, months, chooser.pick_one(steps))
    return days


def make_next_day(chooser: Chooser, window: "Window", day: date, months: int, step: int) -> date:
    due_on = day + relativedelta(months=months)
    if chooser.has_chance(4):
        return max(window.as_of, day + timedelta(days=1))
    return [
        due_on,
        due_on - timedelta(days=1),
        window.pick_day(chooser, day + timedelta(days=1), due_on),
        due_on + timedelta(days=1),
        due_on + relativedelta(day=31),  # the last day of that month
        due_on + timedelta(days=chooser.pick_number(2, 40)),
    ][step]


def find_vessel(chooser: Chooser, day: date, stays: list[Row], vessels: list[Row]) -> object:
    """The vessel that carries the unit, mostly; any other of the fleet now and then, for a misfiled record."""
    if chooser.has_chance(7):
        return chooser.pick_one(vessels)["imo_number"]
    carriers = [stay for stay in stays if stay["in_service_on"] is None or stay["in_service_on"] <= day]
    return (carriers or stays)[-1]["imo_number"]
