"""Buying and moving units. In: slots, lots, a state of arrays by slot. Out: the state with new units on some slots."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .calendar_days import NEVER, floor_to, year_of
from .draws import Draws
from .fleet import Lots, Slots, Vessel
from .parameters import KIND_NUMBER, KINDS, LINING_ONSET_FACTOR, SPACES, US_REGION, Truth

UNIT_FIELDS = (
    "unit",
    "kind",
    "maker",
    "made",
    "card",
    "precision",
    "onset",
    "rate",
    "wall",
    "policy",
    "pressure",
    "served",
)
STAY_FIELDS = ("since", "landed_from", "landed_to")
DAY, MONTH, YEAR, MISSING = range(4)  # precision of the date of manufacture on the card


@dataclass(frozen=True)
class Scene:
    """What does not change while units live: vessels, slots, lots, truth, frailties."""

    vessels: list[Vessel]
    slots: Slots
    lots: Lots
    truth: Truth
    onset_factor: np.ndarray  # by vessel
    defect_factor: np.ndarray  # by vessel
    start: int
    end: int


def open_state(size: int) -> dict[str, np.ndarray]:
    """Arrays by slot of the unit that hangs there and of its stay."""
    state = {name: np.full(size, NEVER, dtype=np.int64) for name in (*UNIT_FIELDS, *STAY_FIELDS)}
    return state | {name: np.zeros(size) for name in ("rate", "wall", "scale")}


def read_cards(made: np.ndarray, luck: np.ndarray, lost_card: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Date of manufacture as the card gives it, and its precision; old cards are the poorer ones."""
    old = year_of(made) < 2009
    precision = np.where(luck < np.where(old, 0.22, 0.02), YEAR, np.where(luck > 0.8, MONTH, DAY))
    precision = np.where(lost_card < np.where(old, 0.05, 0.002), MISSING, precision)
    card = np.select([precision == MONTH, precision == YEAR], [floor_to(made, "M"), floor_to(made, "Y")], made)
    return card, precision


def buy_units(
    scene: Scene,
    state: dict,
    where: np.ndarray,
    day: np.ndarray,
    kind: np.ndarray,
    next_unit: int,
    draws: Draws,
) -> dict[str, np.ndarray]:
    """Hang new units on the slots `where`, in service from `day`. Returns the truth about them, one entry a unit."""
    truth, lots, vessel = scene.truth, scene.lots, scene.slots.vessel[where]
    count, year = len(where), year_of(day) - lots.first_year
    region = np.array([v.region for v in scene.vessels])[vessel]
    made = lots.made[region, kind, year]
    maker = np.where(region == US_REGION, 2, (region + kind + year // 6) % 3)
    card, precision = read_cards(made, lots.card_luck[vessel, kind, year], draws.uniform(count))
    factor = np.array([LINING_ONSET_FACTOR[k.lining] for k in KINDS])[kind] * scene.onset_factor[vessel]
    scale = np.array([s.onset_scale_years for s in SPACES])[scene.slots.space[where]] * factor
    onset_age = scale * draws.exponential(count) ** (1 / truth.onset_shape)
    life_luck, (low, high) = lots.life_luck[vessel, kind, year], truth.policy_life_years
    life = (low + life_luck / truth.policy_share * (high - low)) * 365.25
    planned = (life_luck < truth.policy_share) & (kind != KIND_NUMBER["chem9"])
    new = {
        "unit": next_unit + np.arange(count),
        "kind": kind,
        "maker": maker,
        "made": made,
        "card": card,
        "precision": precision,
        "onset": made + np.minimum(onset_age * 365.25, 60000).astype(np.int64),
        "scale": scale,
        "rate": truth.wall_loss_mm_per_year * draws.gamma(truth.wall_loss_gamma_shape, count),
        "wall": np.array([k.wall_mm for k in KINDS])[kind] + 0.02 * draws.normal(count),
        "policy": np.where(planned, made + np.minimum(life, 60000).astype(np.int64), NEVER),
        "pressure": card,
        "served": day,
    }
    for name, values in new.items():
        state[name][where] = values
    begin_stay(state, where, day)
    return new | {"vessel": vessel, "space": scene.slots.space[where], "since": day}


def begin_stay(state: dict, where: np.ndarray, day: np.ndarray) -> None:
    """Start a stay on the slots, with no time ashore yet."""
    state["since"][where] = day
    state["landed_from"][where] = NEVER
    state["landed_to"][where] = NEVER


def end_stay(state: dict, where: np.ndarray, day: np.ndarray, reason: str) -> dict[str, np.ndarray]:
    """The stays that end on `day`, as rows; the state still shows the old units."""
    return {"slot": where, "removed": day, "reason": np.full(len(where), reason, dtype=object)} | {
        name: state[name][where].copy() for name in ("unit", "kind", "maker", "card", "precision", *STAY_FIELDS)
    }


def swap_units(state: dict, one: np.ndarray, other: np.ndarray, day: np.ndarray) -> None:
    """Exchange the units of pairs of slots; both stays begin on `day`."""
    for name in (*UNIT_FIELDS, "scale"):
        state[name][one], state[name][other] = state[name][other].copy(), state[name][one].copy()
    begin_stay(state, one, day)
    begin_stay(state, other, day)
