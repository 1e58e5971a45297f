"""Vessels and the slots on them. In: a number of vessels or a list of them, and draws. Out: `Vessel`, `Slots`, lots."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .calendar_days import NEVER, count_day
from .draws import Draws
from .parameters import KIND_NUMBER, KINDS, SPACES

FIRST_HALVES = ("Brindle", "Quill", "Oster", "Vella", "Tarn", "Kestrin", "Mornay", "Hask", "Ombre", "Fennel")
SECOND_HALVES = ("moor", "haven", "wick", "mora", "holt", "drift", "quay", "reach", "low", "garth")
TYPES = ("bulk carrier", "container", "tanker", "general cargo", "ro-ro")


@dataclass(frozen=True)
class Vessel:
    """One invented vessel, and how well it is run."""

    imo_number: str
    name: str
    type: str
    flag: str
    gross_tonnage: int
    built_year: int
    lowest_air_temp_c: int
    units: int
    region: int  # supply region: sets makers and lots
    home_provider: int
    lateness: float = 1.0  # 1 = well run
    bad_from: int = NEVER  # a year in which checks and services slip
    bad_to: int = NEVER
    laid_up_from: int = NEVER
    laid_up_to: int = NEVER


def make_imo_number(first_six: int) -> str:
    """Append the check digit (weights 7 to 2, last digit of the sum)."""
    digits = f"{first_six:06d}"
    return digits + str(sum(int(d) * w for d, w in zip(digits, range(7, 1, -1), strict=True)) % 10)


def invent_vessels(count: int, mean_units: int, start: int, end: int, draws: Draws) -> list[Vessel]:
    """A fleet of `count` vessels: most well run, one in twelve late, one in twelve with a bad year, one in twenty laid up."""
    sizes = np.maximum(8, np.round(mean_units * np.exp(0.35 * draws.normal(count) - 0.06)).astype(int))
    luck, when = draws.uniform(count, 8), draws.between(start, max(start, end - 500), count, 2)
    vessels = []
    start_year = 1970 + start // 365
    for i in range(count):
        u = luck[i]
        bad, laid = u[1] < 1 / 12, u[2] < 1 / 20
        vessels.append(
            Vessel(
                make_imo_number(1000 + i),
                f"{FIRST_HALVES[i % 10]}{SECOND_HALVES[i // 10 % 10]} {i // 100 + 1}",
                TYPES[i % len(TYPES)],
                ("XA", "XB", "XC")[i % 3],
                int(2000 + u[3] ** 2 * 90000),
                int(start_year - 3 - u[4] * 25),
                int(-25 + u[5] * 40),
                int(sizes[i]),
                i % 5,
                i % 3,
                4.0 if u[0] < 1 / 12 else 0.7 + 0.6 * u[6],
                when[i, 0] if bad else NEVER,
                when[i, 0] + 365 if bad else NEVER,
                when[i, 1] if laid else NEVER,
                when[i, 1] + 180 if laid else NEVER,
            )
        )
    return vessels


@dataclass(frozen=True)
class Slots:
    """One entry a place where a unit hangs; arrays of equal length, sorted by vessel."""

    vessel: np.ndarray
    space: np.ndarray
    kind: np.ndarray  # the kind bought for it
    first_kind: np.ndarray  # the kind of its first unit (a few obsolete ones)
    batch: np.ndarray  # 0 or 1: which of the year's two service visits
    is_spare: np.ndarray
    number: np.ndarray  # 1, 2, ... on its vessel
    space_name: np.ndarray


def lay_out_slots(vessels: list[Vessel], draws: Draws) -> Slots:
    """Give each vessel its slots: spaces by share, kinds by space, two spares, two visit batches."""
    sizes = np.array([v.units for v in vessels])
    vessel = np.repeat(np.arange(len(vessels)), sizes)
    number = np.arange(len(vessel)) - np.repeat(np.cumsum(sizes) - sizes, sizes) + 1
    # stratified: each vessel gets close to the shares, whatever its size
    where = (number - draws.uniform(len(vessel))) / sizes[vessel]
    space = np.searchsorted(np.cumsum([s.share for s in SPACES]), where, side="right").clip(0, len(SPACES) - 1)
    kind = np.zeros(len(vessel), dtype=np.int64)
    for s, one in enumerate(SPACES):
        here = np.flatnonzero(space == s)
        choice = draws.pick(list(one.kinds.values()), len(here))
        kind[here] = np.array([KIND_NUMBER[slug] for slug in one.kinds])[choice]
    cold = np.array([v.lowest_air_temp_c < 0 for v in vessels])[vessel]
    kind[(kind == KIND_NUMBER["water9"]) & cold & (draws.uniform(len(vessel)) < 0.4)] = KIND_NUMBER["water9_cold"]
    old = np.array([v.built_year < 2004 for v in vessels])[vessel]
    reaction = (kind == KIND_NUMBER["foam9"]) & old & (draws.uniform(len(vessel)) < 0.45)
    spots = [SPACES[s] for s in space]
    names = np.array([one.names[i % len(one.names)] for one, i in zip(spots, number, strict=True)], dtype=object)
    return Slots(
        vessel,
        space,
        kind,
        np.where(reaction, KIND_NUMBER["chem9"], kind),
        (draws.uniform(len(vessel)) < 0.5).astype(np.int64),
        number > sizes[vessel] - 2,
        number,
        names,
    )


@dataclass(frozen=True)
class Lots:
    """What suppliers sold: day of manufacture by region, kind and year; planned life and card precision by vessel batch."""

    first_year: int
    made: np.ndarray  # region x kind x year
    life_luck: np.ndarray  # vessel x kind x year
    card_luck: np.ndarray


def stock_lots(vessel_count: int, first_year: int, years: int, draws: Draws) -> Lots:
    """One lot a region, kind and year: bought in that year, made 20 to 200 days before it began."""
    new_year = np.array([count_day(f"{first_year + y}-01-01") for y in range(years)])
    made = new_year - draws.between(20, 200, 5, len(KINDS), years)
    shape = (vessel_count, len(KINDS), years)
    return Lots(first_year, made, draws.uniform(*shape), draws.uniform(*shape))
