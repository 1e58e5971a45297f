"""How well past lists did. In: trials of watch_trials.py. Out: rows of figure.back_test and back_test_group."""

from __future__ import annotations

from datetime import date
from typing import NamedTuple

import numpy as np

from pipeline.figures.statistics.intervals import wilson
from pipeline.figures.statistics.scores import brier_score, calibrate, count_top, log_score
from pipeline.figures.watch_trials import Trial

HORIZON = 12
BANDS = ((0.05, "first 5 %"), (0.20, "next 15 %"), (1.0, "the rest"))


def compare_tops(mine: np.ndarray, oldest: np.ndarray) -> list[float | None]:
    """Top, found, precision with its limits, lift, gain over oldest first with its limits, from (k, 4, b) of take_tops; None where
    nothing can be told. Of several kinds of draw the wider limits count."""
    top, found, total, condemned = (float(v) for v in mine[0, :, 0])
    if not top:
        return [None] * 9
    precision = found / top
    lift = precision / (condemned / total) if condemned else None
    gains = [m[:, 1] / np.maximum(m[:, 0], 1e-9) for m in (mine, oldest)]
    gain = gains[0] - gains[1]
    limits = [
        (np.quantile(drawn[:, 1:], 0.025, axis=1).min(), np.quantile(drawn[:, 1:], 0.975, axis=1).max())
        for drawn in (gains[0], gain)
    ]
    return [round_off(v) for v in (top, found, precision, *limits[0], lift, gain[0, 0], *limits[1])]


def round_off(value: float | None) -> float | None:
    """To nine places: the last digits of sums depend on the machine."""
    return None if value is None else round(float(value), 9) + 0.0


def score_chances(trials: list[Trial]) -> list[float | None]:
    """Expected, Brier, its skill against the base rate of the same rows, log score, calibration; None without chances."""
    if any(t.chances is None for t in trials):
        return [None] * 6
    p, y, w = (
        np.concatenate(parts) for parts in zip(*((t.chances, t.rows.condemned, t.rows.share) for t in trials), strict=True)
    )
    if not w.sum():
        return [None] * 6
    brier, share = brier_score(p, y, w), float(np.average(y, weights=w))
    bent = calibrate(p, y, w)
    skill = 1 - brier / (share * (1 - share)) if 0 < share < 1 else None
    told = (w @ p, brier, skill, log_score(p, y, w), bent and bent.intercept, bent and bent.slope)
    return [round_off(v) for v in told]


def describe(cutoff: date | None, trials: list[Trial], oldest: list[np.ndarray], mine: list[np.ndarray]) -> tuple:
    """A row of figure.back_test, of one half-year or of several together. oldest, mine: by top share, as take_tops gives them."""
    rows = [t.rows for t in trials]
    why = "; ".join(sorted({t.why_not for t in trials if t.why_not})) or None
    counted = (
        sum(int((~r.gone).sum()) for r in rows),
        sum(int(r.condemned[~r.gone].sum()) for r in rows),
        sum(int(r.gone.sum()) for r in rows),
    )
    tops = [None] * 18 if why else [v for m, o in zip(mine, oldest, strict=True) for v in compare_tops(m, o)]
    scores = [None] * 6 if why else score_chances(trials)
    last = trials[-1]
    return (cutoff, HORIZON, last.method, last.kind, last.events, *counted, *scores, *tops, why)


class Placed(NamedTuple):
    """One place (n,) a unit of a past list: day of the list, unit, chance given, whether it was condemned, fifth of the chances (0 to 4)
    and band of the list (0 to 2)."""

    cutoff: np.ndarray
    unit: np.ndarray
    chance: np.ndarray
    condemned: np.ndarray
    fifth: np.ndarray
    band: np.ndarray


def place_units(trials: list[Trial]) -> Placed | None:
    """Units of lists a year apart, counted back from the last, so that each condemnation stands in one of them; None without any list."""
    kept = [t for t in trials if t.chances is not None and (trials[-1].cutoff.month == t.cutoff.month)]
    if not kept:
        return None
    parts = []
    for trial in kept:
        which = ~trial.rows.gone
        place = np.empty(which.sum(), int)
        place[np.argsort(-trial.scores[which], kind="stable")] = np.arange(which.sum())
        band = np.searchsorted([count_top(int(which.sum()), share) for share, _ in BANDS], place, side="right")
        rows = trial.rows.pick(which)
        parts.append((rows.starts, rows.unit, trial.chances[which], rows.condemned, band))
    starts, unit, p, y, b = (np.concatenate(part) for part in zip(*parts, strict=True))
    fifth = np.empty(len(p), int)
    fifth[np.argsort(p, kind="stable")] = 5 * np.arange(len(p)) // max(len(p), 1)
    return Placed(starts, unit, p, y, fifth, b)


def list_groups(placed: Placed) -> list[tuple[str, int, str, np.ndarray]]:
    """Every fifth and band with its number from 1, its name, and which units (n,) are in it."""
    groups = (("fifth", placed.fifth, [f"fifth {n}" for n in range(1, 6)]), ("band", placed.band, [label for _, label in BANDS]))
    return [(name, n + 1, label, number == n) for name, number, labels in groups for n, label in enumerate(labels)]


def group_rows(placed: Placed | None) -> list[tuple]:
    """Rows of figure.back_test_group."""
    told = []
    for name, number, label, which in list_groups(placed) if placed else ():
        units, condemned = int(which.sum()), int(placed.condemned[which].sum())
        if units:
            share = round_off(placed.chance[which].mean())
            told.append(
                (name, number, label, units, share, condemned, condemned / units, *map(round_off, wilson(condemned, units)))
            )
    return told


def list_condemned(placed: Placed | None) -> list[tuple]:
    """Rows of figure.back_test_condemned."""
    told = []
    for name, number, _, which in list_groups(placed) if placed else ():
        mine = np.flatnonzero(which & (placed.condemned == 1))
        told += [(name, number, placed.cutoff[n].astype(object), str(placed.unit[n])) for n in mine]
    return told
