"""Monthly rounds of the crew on one vessel. In: `Life`, a vessel, draws. Out: rows of inspections and of findings, as arrays."""

from __future__ import annotations

import numpy as np

from .calendar_days import NEVER
from .draws import Draws
from .life import Life, stack_rows
from .parameters import CHECK_DEFECTS, CORROSION, DEFECT_NUMBER, KINDS, SEVERITIES, strikes
from .service import grade_rust
from .visits import rate_lateness

SATISFACTORY, UNSATISFACTORY, NOT_FOUND, NO_ACCESS = range(4)
OUTCOMES = ("satisfactory", "unsatisfactory", "not_found", "no_access")


def plan_rounds(life: Life, vessel: int, draws: Draws) -> np.ndarray:
    """Days of the rounds, from the last one before the window; none in a lay-up, one on the day it ends."""
    truth, one = life.scene.truth, life.scene.vessels[vessel]
    count = (life.scene.end - life.scene.start) // 24 + 4
    noise, late, slip = 1.3 * draws.normal(count), draws.uniform(count), draws.exponential(count)
    port_call = draws.exponential(count)
    days, day = [], float(life.scene.start - 3 - int(20 * draws.uniform(1)[0]))
    for i in range(count):
        if one.laid_up_from <= day < one.laid_up_to:
            day = float(one.laid_up_to)
        if day > life.scene.end:
            break
        days.append(int(day))
        lateness = float(rate_lateness([one], np.zeros(1, dtype=int), np.array([int(day)]), truth)[0])
        # most slips are a few days around a port call; a badly run month loses a week or more
        extra = 3 * port_call[i] + 7 * slip[i] * np.sqrt(lateness) / 2
        day += max(20.0, truth.round_days + noise[i]) + (extra if late[i] < truth.round_late_share * lateness else 0)
    return np.unique(np.array(days, dtype=np.int64))


def walk_rounds(life: Life, vessel: int, stays: dict, draws: Draws) -> dict:
    """Who is checked in which round: a matrix stay x round, with the outcome so far."""
    rounds = plan_rounds(life, vessel, draws.split(1))
    truth, grid = life.scene.truth, rounds[None, :]
    shape = (len(stays["unit"]), len(rounds))
    late = rate_lateness(life.scene.vessels, np.full(len(rounds), vessel), rounds, truth)
    ashore = (grid >= stays["landed_from"][:, None]) & (grid < stays["landed_to"][:, None])
    present = (grid >= stays["since"][:, None]) & (grid < stays["removed"][:, None]) & ~ashore
    skipped = draws.uniform(*shape) < np.minimum(0.35, truth.check_missed_share * late)
    checked = present & ~skipped
    outcome = np.where(draws.uniform(*shape) < truth.no_access_share, NO_ACCESS, SATISFACTORY)
    lost = np.flatnonzero(stays["reason"] == "lost")
    for s in lost:  # the last round aboard is the one that misses it
        seen = np.flatnonzero(checked[s])
        if len(seen):
            outcome[s, seen[-1]] = NOT_FOUND
    return {"rounds": rounds, "checked": checked, "outcome": outcome, "looked": checked & (outcome == SATISFACTORY)}


def strike_defects(life: Life, vessel: int, stays: dict, walk: dict, draws: Draws) -> dict:
    """Defects that arise on the vessel and the first look that finds each: stay, round, number of the defect, severity."""
    scene, rounds = life.scene, walk["rounds"]
    begin, last = np.maximum(stays["since"], scene.start), np.minimum(stays["removed"], scene.end)
    years = np.maximum(last - begin, 0) / 365.25
    hits = []
    for defect in CHECK_DEFECTS:
        fits = np.array([strikes(defect, k) for k in KINDS])[stays["kind"]]
        count = draws.poisson(defect.per_unit_year * scene.defect_factor[vessel] * years * fits)
        stay = np.repeat(np.arange(len(count)), count)
        day = begin[stay] + (draws.uniform(len(stay)) * (last - begin)[stay]).astype(np.int64)
        hits.append(
            {
                "stay": stay,
                "round": np.searchsorted(rounds, day),
                "defect": np.full(len(stay), DEFECT_NUMBER[defect]),
                "severity": np.full(len(stay), SEVERITIES.index(defect.severity)),
            }
        )
    hits.append(see_corrosion(life, stays, walk, draws))
    hit = stack_rows(hits)
    found = next_look(walk)[hit["stay"], hit["round"]]
    kept = found < len(rounds)
    return {name: values[kept] for name, values in (hit | {"round": found}).items()}


def see_corrosion(life: Life, stays: dict, walk: dict, draws: Draws) -> dict:
    """Corrosion that the crew reports: rarely, more so as the wall goes; a few false reports."""
    truth, unit, grid = life.scene.truth, stays["unit"], walk["rounds"][None, :]
    years = (grid - life.units["onset"][unit][:, None]) / 365.25
    loss = np.maximum(years, 0) * life.units["rate"][unit][:, None]
    chance = np.where(years > 0, truth.crew_sensitivity * (1 - np.exp(-2 * loss)), truth.crew_false_share)
    stay, seen = np.nonzero(walk["looked"] & (draws.uniform(*years.shape) < chance))
    return {
        "stay": stay,
        "round": seen,
        "defect": np.full(len(stay), DEFECT_NUMBER[CORROSION]),
        "severity": (loss[stay, seen] > 0.12).astype(np.int64),
    }


def next_look(walk: dict) -> np.ndarray:
    """For each stay and round (one more at the end), the first round from there on that really looked at the unit."""
    count = len(walk["rounds"])
    at = np.where(walk["looked"], np.arange(count)[None, :], count)
    at = np.concatenate([at, np.full((at.shape[0], 1), count)], axis=1)
    return np.minimum.accumulate(at[:, ::-1], axis=1)[:, ::-1]


def close_defects(life: Life, stays: dict, walk: dict, hit: dict, draws: Draws) -> dict:
    """Findings with the day they were put right; those still open at the next look may be reported again."""
    count, rounds = len(hit["stay"]), walk["rounds"]
    day = rounds[hit["round"]]
    at_once, shut = draws.uniform(count) < 0.45, draws.uniform(count) < life.scene.truth.shut_share
    closed = day + np.where(at_once, 0, 1 + (16 * draws.gamma(2, count)).astype(np.int64))
    closed = np.where(shut & (closed < stays["removed"][hit["stay"]]), closed, NEVER)
    closed = np.where(closed <= life.scene.end, closed, NEVER)
    follow = next_look(walk)[hit["stay"], hit["round"] + 1]
    again = (follow < len(rounds)) & (draws.uniform(count) < 0.5)
    again[again] &= rounds[follow[again]] < closed[again]
    rows = {"stay": hit["stay"], "round": hit["round"], "defect": hit["defect"], "severity": hit["severity"], "closed": closed}
    repeats = {name: values[again] for name, values in (rows | {"round": follow}).items()}
    return stack_rows([rows, repeats])


def dress_findings(life: Life, vessel: int, stays: dict, walk: dict, hit: dict) -> dict:
    """Rows of findings, one a unit, day and defect."""
    unit, day = stays["unit"][hit["stay"]], walk["rounds"][hit["round"]]
    key = (unit * 200000 + day) * 64 + hit["defect"]
    kept = np.unique(key, return_index=True)[1]
    corrosion = hit["defect"] == DEFECT_NUMBER[CORROSION]
    years = (day - life.units["onset"][unit]) / 365.25
    blank = np.full(len(unit), np.nan)
    rows = {
        "unit": unit,
        "vessel": np.full(len(unit), vessel),
        "day": day,
        "closed": hit["closed"],
        "defect": hit["defect"],
        "severity": hit["severity"],
        "grade": np.where(corrosion, grade_rust(years), 0),
        "area": blank,
        "pit": blank,
    }
    return {name: values[kept] for name, values in rows.items()}


def run_checks(life: Life, vessel: int, stays: dict, draws: Draws) -> tuple[dict, dict]:
    """Inspections (unit, day, outcome) and findings of one vessel's crew.

    A major or unfit finding that is not put right on the spot makes the check unsatisfactory; a follow-up look on the
    day it is put right is satisfactory.
    """
    walk = walk_rounds(life, vessel, stays, draws.split(1))
    hit = close_defects(life, stays, walk, strike_defects(life, vessel, stays, walk, draws.split(2)), draws.split(3))
    day = walk["rounds"][hit["round"]]
    bad = (hit["severity"] > 0) & (hit["closed"] > day)
    walk["outcome"][hit["stay"][bad], hit["round"][bad]] = UNSATISFACTORY
    stay, number = np.nonzero(walk["checked"])
    follow = np.flatnonzero(bad & (hit["closed"] < NEVER))
    unit = np.concatenate([stays["unit"][stay], stays["unit"][hit["stay"][follow]]])
    days = np.concatenate([walk["rounds"][number], hit["closed"][follow]])
    outcome = np.concatenate([walk["outcome"][stay, number], np.full(len(follow), SATISFACTORY)])
    kept = np.sort(np.unique(unit * 200000 + days, return_index=True)[1])
    order = kept[np.argsort(days[kept], kind="stable")]
    looks = {"unit": unit[order], "day": days[order], "outcome": outcome[order]}
    return looks, dress_findings(life, vessel, stays, walk, hit)
