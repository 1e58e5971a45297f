"""Canonical text columns of one vessel. In: `Life` and a vessel's number. Out: table -> column -> list of texts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .calendar_days import NEVER, write_days, year_of
from .checks import OUTCOMES, run_checks
from .draws import Draws
from .life import Life
from .parameters import ALL_DEFECTS, KINDS, MAKERS, PROVIDERS, SEVERITIES, SPACES, US_REGION
from .service import ANNUAL, CONDEMN, WORK_KINDS

ROLES = ("second mate", "third mate", "safety officer")
PRECISIONS = ("day", "month", "year", "")


@dataclass(frozen=True)
class Ranges:
    """Life's rows sorted by vessel: row numbers of each vessel, by table."""

    life: Life
    rows: dict[str, list[np.ndarray]]
    seed: int


def index_vessels(life: Life, seed: int) -> Ranges:
    """Find each vessel's rows once."""
    count = len(life.scene.vessels)
    rows = {}
    for table, vessel in (
        ("stays", life.scene.slots.vessel[life.stays["slot"]]),
        ("work", life.work["vessel"]),
        ("findings", life.findings["vessel"]),
    ):
        order = np.argsort(vessel, kind="stable")
        rows[table] = np.split(order, np.searchsorted(vessel[order], np.arange(1, count)))
    return Ranges(life, rows, seed)


def write_numbers(values, digits: int) -> list[str]:
    """Decimal texts without trailing zeros; NaN becomes an empty text."""
    texts = [f"{v:.{digits}f}" if v == v else "" for v in np.asarray(values, dtype=float).tolist()]
    return [t.rstrip("0").rstrip(".") if "." in t else t for t in texts]


def name_units(maker: np.ndarray, unit: np.ndarray) -> list[str]:
    """Identity of a unit: maker's code and serial number."""
    return [f"{MAKERS[m][0]}-{100000 + u}" for m, u in zip(maker.tolist(), unit.tolist(), strict=True)]


def size_kind(kind, region: int) -> tuple[str, str, str, str]:
    """charge_l, charge_kg, empty and full mass of a kind; US sizes in the US supply region."""
    charge, empty = kind.charge, kind.empty_mass_kg
    if region == US_REGION:
        charge = kind.us_charge_metric
    text = write_numbers([charge, empty, empty + charge], 4)
    return (text[0], "", text[1], text[2]) if kind.is_liquid else ("", text[0], text[1], text[2])


def write_units(life: Life, vessel: int, stays: dict) -> dict[str, list[str]]:
    """The register: one entry a stay."""
    slots, one = life.scene.slots, life.scene.vessels[vessel]
    kinds = [KINDS[k] for k in stays["kind"].tolist()]
    where = stays["slot"]
    sizes = [size_kind(k, one.region) for k in kinds]
    precision = [PRECISIONS[p] for p in stays["precision"].tolist()]
    card = ["" if not p else d for p, d in zip(precision, write_days(stays["card"]), strict=True)]
    return {
        "unit_id": name_units(stays["maker"], stays["unit"]),
        "imo_number": [one.imo_number] * len(kinds),
        "position_no": [
            f"{'SP' if s else 'FE'}-{n:02d}" for s, n in zip(slots.is_spare[where], slots.number[where], strict=True)
        ],
        "space_name": slots.space_name[where].tolist(),
        "space_category": [SPACES[s].category for s in slots.space[where]],
        "agent": [k.agent for k in kinds],
        "agent_detail": [k.detail for k in kinds],
        "foam_kind": [k.foam_kind for k in kinds],
        "expelled_by": [k.expelled_by for k in kinds],
        "form": [k.form for k in kinds],
        "charge_l": [s[0] for s in sizes],
        "charge_kg": [s[1] for s in sizes],
        "empty_mass_kg": [s[2] for s in sizes],
        "full_mass_kg": [s[3] for s in sizes],
        "shell_material": [k.shell for k in kinds],
        "lining": [k.lining for k in kinds],
        "wall_mm": write_numbers([k.wall_mm for k in kinds], 2),
        "wall_min_mm": write_numbers([k.wall_min_mm for k in kinds], 2),
        "test_pressure_bar": write_numbers([k.test_bar for k in kinds], 1),
        "maker": [MAKERS[m][1] for m in stays["maker"]],
        "model": [f"{MAKERS[m][0].title()} {k.model}" for m, k in zip(stays["maker"], kinds, strict=True)],
        "made_on": card,
        "made_on_precision": precision,
        "in_service_on": write_days(stays["since"]),
        "removed_on": write_days(np.where(stays["removed"] <= life.scene.end, stays["removed"], NEVER)),
        "removal_reason": np.where(stays["removed"] <= life.scene.end, stays["reason"], "").tolist(),
        "refillable_on_board": [str(k.is_refillable).lower() for k in kinds],
        "is_spare": [str(bool(s)).lower() for s in slots.is_spare[where]],
        "landed_from": write_days(stays["landed_from"]),
        "landed_to": write_days(np.where(stays["landed_to"] <= life.scene.end, stays["landed_to"], NEVER)),
    }


def write_services(life: Life, vessel: int, rows: np.ndarray) -> dict[str, list[str]]:
    """Work done on the vessel's units."""
    work = {name: values[rows] for name, values in life.work.items()}
    imo = life.scene.vessels[vessel].imo_number
    provider = [PROVIDERS[p] for p in work["provider"].tolist()]
    years = year_of(work["day"]).tolist()
    stated = [f"{p.code}-{y}-{imo[2:6]}" for p, y in zip(provider, years, strict=True)]
    return {
        "unit_id": name_units(life.units["maker"][work["unit"]], work["unit"]),
        "imo_number": [imo] * len(rows),
        "serviced_on": write_days(work["day"]),
        "kind": [WORK_KINDS[k] for k in work["kind"].tolist()],
        "outcome": np.where(work["ok"], "satisfactory", "unsatisfactory").tolist(),
        "is_examination": np.where(work["exam"], "true", "").tolist(),
        "provider": [p.name for p in provider],
        "certificate_no": [c if k in (ANNUAL, CONDEMN) else "" for c, k in zip(stated, work["kind"].tolist(), strict=True)],
        "mass_kg": write_numbers(work["mass"], 2),
        "cartridge_mass_kg": write_numbers(work["cartridge"], 3),
        "cartridge_nominal_kg": write_numbers(work["nominal"], 3),
        "gauge_bar": write_numbers(work["gauge"], 1),
        "proof_pressure_bar": write_numbers(work["proof"], 1),
        "discharge_s": write_numbers(work["time"], 0),
        "throw_m": write_numbers(work["throw"], 1),
        "discharged_pct": write_numbers(work["share"], 1),
        "wall_mm_measured": write_numbers(work["wall"], 2),
        "stated_next_due_on": [""] * len(rows),
    }


def write_findings(life: Life, vessel: int, found: dict, found_by: str) -> dict[str, list[str]]:
    """Findings of the crew or of a provider."""
    defects = [ALL_DEFECTS[d] for d in found["defect"].tolist()]
    count = len(defects)
    return {
        "unit_id": name_units(life.units["maker"][found["unit"]], found["unit"]),
        "imo_number": [life.scene.vessels[vessel].imo_number] * count,
        "found_on": write_days(found["day"]),
        "found_by": [found_by] * count,
        "component": [d.component for d in defects],
        "defect": [d.defect for d in defects],
        "severity": [SEVERITIES[s] for s in found["severity"].tolist()],
        "rust_grade": [f"Ri{g}" if g else "" for g in found["grade"].tolist()],
        "rusted_area_pct": write_numbers(found["area"], 2),
        "pit_depth_mm": write_numbers(found["pit"], 2),
        "dent_depth_mm": [""] * count,
        "action": [d.action if c < NEVER else "" for d, c in zip(defects, found["closed"].tolist(), strict=True)],
        "closed_on": write_days(found["closed"]),
    }


def build_tables(ranges: Ranges, vessel: int) -> dict[str, dict[str, list[str]]]:
    """unit, inspection, service, finding of one vessel; findings of crew and providers apart ('finding', 'service_finding')."""
    life = ranges.life
    stays = {name: values[ranges.rows["stays"][vessel]] for name, values in life.stays.items()}
    looks, crew = run_checks(life, vessel, stays, Draws(ranges.seed, 77, vessel))
    found = {name: values[ranges.rows["findings"][vessel]] for name, values in life.findings.items()}
    key = ("unit", "day", "defect")
    taken = set(zip(*(found[k].tolist() for k in key), strict=True))
    free = np.array([k not in taken for k in zip(*(crew[k].tolist() for k in key), strict=True)], dtype=bool)
    crew = {name: values[free] for name, values in crew.items()}
    count = len(looks["unit"])

    unit_ids = name_units(life.units["maker"][looks["unit"]], looks["unit"])
    inspection = {
        "unit_id": unit_ids,
        "imo_number": [life.scene.vessels[vessel].imo_number] * count,
        "inspected_on": write_days(looks["day"]),
        "outcome": np.array(OUTCOMES, dtype=object)[looks["outcome"]].tolist(),
        "inspector_role": [ROLES[vessel % 3]] * count,
        "stated_next_due_on": [""] * count,
        "remarks": [""] * count,
    }
    return {
        "unit": write_units(life, vessel, stays),
        "inspection": inspection,
        "service": write_services(life, vessel, ranges.rows["work"][vessel]),
        "finding": write_findings(life, vessel, crew, "inspection"),
        "service_finding": write_findings(life, vessel, found, "service"),
    }
