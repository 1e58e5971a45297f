"""One service visit. In: the state, slots visited, days, providers, draws. Out: rows of work and of findings."""

from __future__ import annotations

import numpy as np

from .calendar_days import NEVER, add_months, year_of
from .draws import Draws
from .parameters import (
    CORROSION,
    DEFECT_NUMBER,
    KIND_NUMBER,
    KINDS,
    LINING,
    PROVIDERS,
    RUST_AREA_PCT,
    RUST_STEPS_YEARS,
    SERVICE_DEFECTS,
    SEVERITIES,
    SPACES,
    US_REGION,
    strikes,
)
from .units import MISSING, Scene

ANNUAL, RECHARGE, DISCHARGE, PRESSURE, CARTRIDGE, REPAIR, CONDEMN = range(7)
WORK_KINDS = (
    "annual_service",
    "recharge",
    "discharge_test",
    "pressure_test",
    "cartridge_check",
    "repair",
    "condemn",
)
READINGS = ("mass", "cartridge", "nominal", "gauge", "proof", "time", "throw", "share", "wall")
OPEN_DECK = [s.category for s in SPACES].index("open_deck")


class Groups:
    """Sample groups (vessel, kind, year of manufacture): earliest card date, last satisfactory test."""

    def __init__(self, vessels: int, first_year: int, years: int):
        self.first_year, self.years = first_year, years
        self.made = np.full(vessels * len(KINDS) * years, NEVER, dtype=np.int64)
        self.tested = np.full(vessels * len(KINDS) * years, -NEVER, dtype=np.int64)

    def number(self, vessel, kind, card) -> np.ndarray:
        """Number of the group of each unit."""
        return (vessel * len(KINDS) + kind) * self.years + year_of(card) - self.first_year

    def join(self, vessel, kind, card, precision) -> None:
        """Count new units in."""
        known = precision != MISSING
        np.minimum.at(self.made, self.number(vessel, kind, card)[known], card[known])

    def pick_due(self, group: np.ndarray, horizon: np.ndarray) -> np.ndarray:
        """Positions of one unit of each group whose test falls due before the horizon."""
        basis = np.where(self.tested[group] > -NEVER, self.tested[group], self.made[group])
        due = np.flatnonzero((basis < NEVER) & (add_months(np.minimum(basis, 10**5), 60) < horizon))
        return due[np.unique(group[due], return_index=True)[1]]


def grade_rust(years_since_onset: np.ndarray) -> np.ndarray:
    """Rust grade 1 to 5 by years since onset (a false report reads Ri1)."""
    return 1 + np.searchsorted(RUST_STEPS_YEARS, np.maximum(years_since_onset, 0), side="right")


def judge_corrosion(scene: Scene, seen: dict, draws: Draws) -> None:
    """Add true loss, whether corrosion was found, and the chance and fact of condemnation to `seen`."""
    t, count = scene.truth, len(seen["day"])
    since_onset = (seen["day"] - seen["onset"]) / 365.25
    seen["corroded"], seen["onset_years"] = since_onset > 0, since_onset
    seen["loss"] = np.maximum(since_onset, 0) * seen["rate"]
    first = np.array([p.sensitivity for p in PROVIDERS])[seen["provider"]]
    sensitivity = 1 - (1 - first) * np.exp(-t.sensitivity_slope_per_mm * seen["loss"])
    seen["found"] = draws.uniform(count) < np.where(seen["corroded"], sensitivity, 1 - t.specificity)
    logit = (
        t.condemn_base
        + t.condemn_per_10_years * (seen["day"] - seen["made"]) / 3652.5
        + t.condemn_found * seen["found"]
        + t.condemn_per_mm * seen["loss"]
        + t.condemn_pressure_test * seen["is_pressure"]
        + t.condemn_co2 * (seen["kind"] == KIND_NUMBER["co2_5"])
        + t.condemn_open_deck * (seen["space"] == OPEN_DECK)
    )
    seen["p_condemn"] = 1 / (1 + np.exp(-logit))
    seen["condemned"] = draws.uniform(count) < seen["p_condemn"]


def plan_tests(scene: Scene, seen: dict, groups: Groups, late: np.ndarray, draws: Draws) -> None:
    """Add which units get a pressure test, and which stand for their group in the five-yearly test."""
    count, horizon = len(seen["day"]), add_months(seen["day"], 12) + 20
    kept = draws.uniform(count) >= np.minimum(0.5, scene.truth.test_skipped_share * late)
    seen["is_pressure"] = (add_months(seen["pressure"], 120) < horizon) & kept
    picked = np.zeros(count, dtype=bool)
    picked[groups.pick_due(seen["group"], horizon)] = True
    seen["is_sample"] = picked & kept
    seen["is_wheeled"] = np.array([k.form == "wheeled" for k in KINDS])[seen["kind"]]
    seen["sample_ok"] = draws.uniform(count) < 0.985
    groups.tested[seen["group"][seen["is_sample"] & seen["sample_ok"]]] = seen["day"][seen["is_sample"] & seen["sample_ok"]]


def find_defects(scene: Scene, seen: dict, draws: Draws) -> list[dict]:
    """Rows of findings made at the visit; marks who needs a recharge or a repair."""
    count, rows = len(seen["day"]), []
    factor = scene.defect_factor[seen["vessel"]] * seen["years"]
    seen["recharge"], seen["repair"] = np.zeros(count, dtype=bool), np.zeros(count, dtype=bool)
    seen["charge_lost"] = np.zeros(count)
    for defect in SERVICE_DEFECTS:
        fits = np.array([strikes(defect, k) for k in KINDS])[seen["kind"]]
        hit = fits & (draws.uniform(count) < 1 - np.exp(-defect.per_unit_year * factor))
        seen["recharge"] |= hit & (defect.action == "recharged")
        seen["repair"] |= hit & (defect.component in ("hose", "head"))
        if (defect.component, defect.defect) == ("charge", "low_mass"):
            seen["charge_lost"] = np.where(hit, 0.11 + 0.1 * draws.uniform(count), 0)
        if defect.defect == "low_pressure":
            seen["leaked"] = hit
        rows.append(note_findings(seen, hit, defect))
    corrosion = note_findings(seen, seen["found"], CORROSION)
    at = np.flatnonzero(seen["found"])
    corrosion["grade"] = np.where(seen["corroded"], grade_rust(seen["onset_years"]), 1)[at]
    nominal = np.array(RUST_AREA_PCT)[corrosion["grade"]]
    corrosion["area"] = np.round(np.minimum(nominal * (0.7 + 0.6 * draws.uniform(len(at))), 100), 2)
    pitted = (seen["loss"][at] > 0.1) & (draws.uniform(len(at)) < 0.5)
    corrosion["pit"] = np.where(pitted, np.round(seen["loss"][at] * (1.5 + draws.uniform(len(at))), 2), np.nan)
    corrosion["severity"] = np.select([seen["condemned"][at], seen["loss"][at] > 0.12], [2, 1], 0)
    opened = seen["is_pressure"] | seen["is_sample"]
    lined = np.array([k.lining in ("zinc", "epoxy_polyester") for k in KINDS])[seen["kind"]]
    failed = note_findings(seen, opened & lined & seen["condemned"] & (seen["loss"] > 0.15), LINING)
    return [*rows, corrosion, failed]


def note_findings(seen: dict, hit: np.ndarray, defect) -> dict[str, np.ndarray]:
    """Plain rows for one defect; put right on the spot unless the unit is condemned."""
    at = np.flatnonzero(hit)
    closed = np.where(seen["condemned"][at], NEVER, seen["day"][at])
    severity = SEVERITIES.index(defect.severity)
    return {
        "unit": seen["unit"][at],
        "vessel": seen["vessel"][at],
        "day": seen["day"][at],
        "closed": closed,
        "defect": np.full(len(at), DEFECT_NUMBER[defect]),
        "severity": np.full(len(at), severity),
        "grade": np.zeros(len(at), dtype=np.int64),
        "area": np.full(len(at), np.nan),
        "pit": np.full(len(at), np.nan),
    }


def take_readings(scene: Scene, seen: dict, draws: Draws) -> dict[str, np.ndarray]:
    """What gauges and scales would show on each unit; NaN where the kind has no such part."""
    count = len(seen["day"])
    noise = {name: draws.normal(count) for name in ("mass", "cartridge", "gauge", "wall", "time", "throw", "share")}
    names = ("charge", "empty_mass_kg", "cartridge_kg", "gauge_bar", "test_bar", "is_liquid")
    kind = {name: np.array([getattr(k, name) for k in KINDS], dtype=float)[seen["kind"]] for name in names}
    is_us = np.array([v.region == US_REGION for v in scene.vessels])[seen["vessel"]]
    charge = np.where(is_us, np.array([k.us_charge_metric for k in KINDS])[seen["kind"]], kind["charge"])
    full = kind["empty_mass_kg"] + charge + 0.02 * noise["mass"]
    has_cartridge = kind["cartridge_kg"] > 0
    return {
        "full": full,
        "mass": full - charge * seen["charge_lost"],
        "wall": np.maximum(seen["wall"] - seen["loss"] + scene.truth.wall_gauge_sd_mm * noise["wall"], 0.1),
        "cartridge": np.where(has_cartridge, kind["cartridge_kg"] * (1 + 0.004 * noise["cartridge"]), np.nan),
        "nominal": np.where(has_cartridge, kind["cartridge_kg"], np.nan),
        "gauge": np.where(
            kind["gauge_bar"] > 0, kind["gauge_bar"] * np.where(seen["leaked"], 0.6, 1) + 0.4 * noise["gauge"], np.nan
        ),
        "proof": kind["test_bar"],
        "time": np.where(kind["is_liquid"] > 0, 48, 14) + 3 * noise["time"],
        "throw": 6 + 2 * kind["is_liquid"] + 0.4 * noise["throw"],
        "share": np.where(seen["sample_ok"], 96.5, 82) + 0.7 * noise["share"],
    }


def write_work(scene: Scene, seen: dict, draws: Draws) -> list[dict]:
    """Rows of work: kind, outcome and readings; NaN where nothing was read."""
    count, read = len(seen["day"]), take_readings(scene, seen, draws)
    read["some_wall"] = np.where(draws.uniform(count) < scene.truth.wall_read_share, read["wall"], np.nan)
    weighs = ~np.isnan(read["cartridge"]) & (draws.uniform(count) < 0.15)
    sound = ~seen["condemned"]
    jobs = {  # kind of work: who gets it, who passes, column -> reading
        ANNUAL: (np.ones(count, dtype=bool), sound, {"mass": "mass", "gauge": "gauge", "wall": "some_wall"}),
        RECHARGE: (seen["recharge"] & sound, sound, {"mass": "full"}),
        DISCHARGE: (
            seen["is_sample"] & ~seen["is_wheeled"],
            seen["sample_ok"],
            {"time": "time", "throw": "throw", "share": "share"},
        ),
        PRESSURE: (seen["is_pressure"], sound, {"proof": "proof", "wall": "wall"}),
        CARTRIDGE: (weighs & sound, sound, {"cartridge": "cartridge", "nominal": "nominal"}),
        REPAIR: (seen["repair"] & sound, sound, {}),
        CONDEMN: (seen["condemned"], sound, {}),
    }
    rows = []
    for kind, (done, passed, columns) in jobs.items():
        at = np.flatnonzero(done)
        row = {name: seen[name][at] for name in ("unit", "vessel", "day", "provider")}
        exam = (seen["is_sample"] & seen["is_wheeled"])[at] & (kind == ANNUAL)
        row |= {"kind": np.full(len(at), kind), "ok": passed[at], "exam": exam}
        rows.append(row | {n: read[columns[n]][at] if n in columns else np.full(len(at), np.nan) for n in READINGS})
    return rows
