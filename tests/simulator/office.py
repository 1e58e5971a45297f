"""What the fleet office keeps: vessels, fire-plan stations, counts of spare charges. In: `Life`. Out: canonical columns."""

from __future__ import annotations

import math

from .calendar_days import add_months, write_days
from .draws import Draws
from .fleet import Vessel
from .life import Life
from .parameters import KINDS, SPACES
from .tables import size_kind


def write_vessels(vessels: list[Vessel], start: int) -> dict[str, list[str]]:
    """One entry a vessel; the whole fleet joins on the first day of the window."""
    return {
        "imo_number": [v.imo_number for v in vessels],
        "vessel_name": [v.name for v in vessels],
        "vessel_type": [v.type for v in vessels],
        "flag": [v.flag for v in vessels],
        "gross_tonnage": [str(v.gross_tonnage) for v in vessels],
        "built_year": [str(v.built_year) for v in vessels],
        "lowest_air_temp_c": [str(v.lowest_air_temp_c) for v in vessels],
        "joined_on": write_days([start] * len(vessels)),
        "left_on": [""] * len(vessels),
        "laid_up_from": write_days([v.laid_up_from for v in vessels]),
        "laid_up_to": write_days([v.laid_up_to for v in vessels]),
    }


def list_slots(life: Life, vessel: int) -> list[int]:
    """Slots of a vessel that are on its fire plan."""
    slots = life.scene.slots
    return [s for s in (slots.vessel == vessel).nonzero()[0].tolist() if not slots.is_spare[s]]


def write_stations(life: Life, vessel: int) -> dict[str, list[str]]:
    """The fire plan: what each position asks for."""
    slots, one = life.scene.slots, life.scene.vessels[vessel]
    at = list_slots(life, vessel)
    kinds = [KINDS[k] for k in slots.kind[at].tolist()]
    sizes = [size_kind(k, one.region) for k in kinds]
    return {
        "imo_number": [one.imo_number] * len(at),
        "position_no": [f"FE-{n:02d}" for n in slots.number[at]],
        "space_name": slots.space_name[at].tolist(),
        "space_category": [SPACES[s].category for s in slots.space[at]],
        "required_agent": [k.agent for k in kinds],
        "required_charge_l": [s[0] for s in sizes],
        "required_charge_kg": [s[1] for s in sizes],
    }


def write_spares(life: Life, vessel: int, draws: Draws) -> dict[str, list[str]]:
    """A count each January of the spare charges held for every refillable portable kind; a few too few."""
    slots, one = life.scene.slots, life.scene.vessels[vessel]
    kinds = [KINDS[k] for k in slots.kind[list_slots(life, vessel)].tolist()]
    rows = {name: [] for name in ("imo_number", "counted_on", "agent", "charge_l", "charge_kg", "spare_charges")}
    needed: dict[tuple[str, str, str], int] = {}
    for kind in kinds:
        if kind.is_refillable and kind.form == "portable":
            size = (kind.agent, *size_kind(kind, one.region)[:2])
            needed[size] = needed.get(size, 0) + 1
    for year in range((life.scene.end - life.scene.start) // 365):
        day = write_days([add_months(life.scene.start, 12 * year + 2) + 4 + int(draws.uniform(1)[0] * 9)])[0]
        for (agent, charge_l, charge_kg), units in needed.items():
            asked = min(units, 10) + math.ceil(max(units - 10, 0) / 2)
            held = max(0, asked - int(draws.uniform(1)[0] < 0.12) * 2)
            for name, text in zip(rows, (one.imo_number, day, agent, charge_l, charge_kg, str(held)), strict=True):
                rows[name].append(text)
    return rows
