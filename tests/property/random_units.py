"""The stays of one random unit: one row per stay on a vessel.

In: a chooser, the window, the vessels there are. Out: canonical unit rows with unique keys, none removed before it
came or landed to before landed from.
"""

from datetime import date, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

from dateutil.relativedelta import relativedelta

from tests.property.canonical import KEYS, Row
from tests.property.choosers import Chooser

if TYPE_CHECKING:
    from tests.property.random_fleets import Window

# Few kinds, so that units share sample groups; "9" and "9.0" are one charge, an empty maker equals an empty maker.
KINDS = (
    {"agent": "foam", "form": "portable", "charge_l": Decimal(9), "maker": "Norvane", "model": "F9", "expelled_by": "cartridge"},
    {"agent": "foam", "form": "portable", "charge_l": Decimal("9.0"), "maker": "Norvane", "model": "F9"},
    {"agent": "powder", "form": "portable", "charge_kg": Decimal(6), "maker": "Norvane", "model": "P6"},
    {"agent": "water", "form": "portable", "charge_l": Decimal(9)},
    {
        "agent": "powder",
        "form": "wheeled",
        "charge_kg": Decimal(50),
        "maker": "Ostrel",
        "model": "P50",
        "expelled_by": "cartridge",
    },
    {"agent": "co2", "charge_kg": Decimal(5), "maker": "Ostrel", "model": "C5"},
)


def make_stays(chooser: Chooser, window: "Window", unit_id: str, imo_number: str, imo_numbers: list[str]) -> list[Row]:
    """One to three stays, the first on imo_number."""
    kind = chooser.pick_one(KINDS)
    made_on = make_made_on(chooser, window)
    earliest = made_on["made_on"] or window.first
    usual = max(earliest, window.first - timedelta(days=200))
    began_on = window.pick_day(chooser, earliest if chooser.has_chance(20) else usual, window.last)
    stays: list[Row] = []
    while True:
        stay = {"unit_id": unit_id, "imo_number": imo_number, **kind, **made_on}
        stays.append(stay | make_stay_dates(chooser, window, began_on) | make_cartridge(chooser, window, stay))
        if len(stays) == 3 or not chooser.has_chance(30):
            return drop_repeated_keys(stays)
        removed_on = stays[-1].get("removed_on")
        stays[-1]["removal_reason"] = "transferred" if removed_on else None
        imo_number = chooser.pick_one([*imo_numbers, imo_number])
        began_on = make_next_start(chooser, window, began_on, removed_on)
        if chooser.has_chance(10):  # the second register describes the same unit in other words
            kind = chooser.pick_one(KINDS)
        if chooser.has_chance(7):
            made_on = make_earlier_made_on(chooser, made_on)


def drop_repeated_keys(stays: list[Row]) -> list[Row]:
    by_key = {tuple(stay.get(column) for column in KEYS["unit"]): stay for stay in stays}
    return list(by_key.values())


def make_made_on(chooser: Chooser, window: "Window") -> Row:
    """Old enough that some test falls due in the window, to the day; or new; or known only roughly; or not at all."""
    day_in_window = window.pick_day(chooser, window.first, window.last)
    age_months = chooser.pick_one([0, 12, 59, 60, 60, 60, 61, 119, 120, 120, 120, 121])
    slip = timedelta(days=chooser.pick_number(-1, 1))
    made_on = min(day_in_window - relativedelta(months=age_months) + slip, window.last)
    precision = chooser.pick_one(["day", "day", "day", None, "year", "month", "none"])
    if precision == "none":
        return {"made_on": None, "made_on_precision": None}
    if precision == "year":
        made_on = made_on.replace(month=1, day=1)
    if precision == "month":
        made_on = made_on.replace(day=1)
    return {"made_on": made_on, "made_on_precision": precision}


def make_earlier_made_on(chooser: Chooser, made_on: Row) -> Row:
    """Never later: events already made must not come before it."""
    if made_on["made_on"] is None or chooser.has_chance(30):
        return {"made_on": None, "made_on_precision": None}
    return {
        "made_on": made_on["made_on"] - timedelta(days=chooser.pick_number(1, 500)),
        "made_on_precision": "day",
    }


def make_cartridge(chooser: Chooser, window: "Window", stay: Row) -> Row:
    """A cartridge as old as the unit or fitted since; or nobody says."""
    if stay.get("expelled_by") != "cartridge" or chooser.has_chance(40):
        return {}
    return {"cartridge_made_on": window.pick_day(chooser, stay["made_on"] or window.first, window.last)}


def make_stay_dates(chooser: Chooser, window: "Window", began_on: date) -> Row:
    dates: Row = {"in_service_on": None if chooser.has_chance(12) else began_on}
    if chooser.has_chance(35):
        dates["removed_on"] = window.pick_day(chooser, began_on, window.last + timedelta(days=30))
    if chooser.has_chance(15):
        dates["landed_from"] = window.pick_day(chooser, began_on, window.last)
        if chooser.has_chance(75):
            until = dates["landed_from"] + timedelta(days=90)
            dates["landed_to"] = window.pick_day(chooser, dates["landed_from"], until)
    elif chooser.has_chance(3):
        dates["landed_to"] = window.pick_day(chooser, began_on, window.last)  # no first day: never landed
    if chooser.has_chance(40):
        dates["is_spare"] = chooser.has_chance(30)
    return dates


def make_next_start(chooser: Chooser, window: "Window", began_on: date, removed_on: date | None) -> date:
    """On the day it left, later, or (doubtful, but loaded) while it is still aboard."""
    if removed_on is None or chooser.has_chance(25):
        return window.pick_day(chooser, began_on, removed_on or window.last)
    return removed_on if chooser.has_chance(60) else window.pick_day(chooser, removed_on, window.last)
