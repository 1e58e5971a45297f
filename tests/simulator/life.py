"""Lives of all units, from burn-in to the last day. In: a `Scene`, draws. Out: `Life`: units, stays, work, findings as arrays."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .calendar_days import NEVER, add_months, count_day
from .draws import Draws
from .fleet import Vessel, lay_out_slots, stock_lots
from .parameters import BURN_IN_YEARS, US_REGION, Truth
from .service import (
    ANNUAL,
    DISCHARGE,
    PRESSURE,
    Groups,
    find_defects,
    judge_corrosion,
    plan_tests,
    write_work,
)
from .units import Scene, buy_units, end_stay, open_state, swap_units
from .visits import plan_visits, rate_lateness


@dataclass(frozen=True)
class Life:
    """Column arrays, one dict a table; `seen` holds the truth at every annual service of the window."""

    scene: Scene
    units: dict[str, np.ndarray]
    stays: dict[str, np.ndarray]
    work: dict[str, np.ndarray]
    findings: dict[str, np.ndarray]
    seen: dict[str, np.ndarray]


def stack_rows(chunks: list[dict]) -> dict[str, np.ndarray]:
    """One dict of arrays out of many."""
    return {name: np.concatenate([c[name] for c in chunks]) for name in chunks[0]}


def set_scene(vessels: list[Vessel], start: int, end: int, truth: Truth, draws: Draws) -> Scene:
    """Slots, lots and frailties for the vessels."""
    first_year = 1970 + start // 365 - BURN_IN_YEARS - 2
    count = len(vessels)
    lots = stock_lots(count, first_year, (end - start) // 365 + BURN_IN_YEARS + 6, draws.split(1))
    onset = np.exp(truth.onset_frailty_sd * draws.split(2).normal(count))
    defect = draws.split(3).gamma(truth.defect_frailty_shape, count)
    return Scene(vessels, lay_out_slots(vessels, draws.split(4)), lots, truth, onset, defect, start, end)


def live_through(scene: Scene, draws: Draws) -> Life:
    """Run every service visit from the burn-in to the end, all vessels at once."""
    slots, vessels = scene.slots, scene.vessels
    first = int(add_months(scene.start, -12 * BURN_IN_YEARS))
    state, store = (
        open_state(len(slots.vessel)),
        {"units": [], "stays": [], "work": [], "findings": [], "seen": []},
    )
    groups = Groups(len(vessels), scene.lots.first_year - 2, scene.lots.life_luck.shape[2] + 3)
    built = np.array([count_day(f"{v.built_year}-06-15") for v in vessels])[slots.vessel]
    where = np.arange(len(slots.vessel))
    fit_units(scene, state, groups, store, where, np.maximum(built, first), slots.first_kind, draws.split(5))
    visit_days, providers = plan_visits(vessels, first, scene.end, draws.split(6), scene.truth)
    for cycle in range(visit_days.shape[2]):
        for batch in (0, 1):
            at = np.flatnonzero(slots.batch == batch)
            vessel = slots.vessel[at]
            visit = (at, visit_days[vessel, batch, cycle], providers[vessel, batch, cycle])
            visit_slots(scene, state, groups, store, visit, draws.split(100 + 2 * cycle + batch))
    left = np.flatnonzero(state["since"] <= scene.end)
    store["stays"].append(end_stay(state, left, np.full(len(left), NEVER), ""))
    stays, work = choose_records(scene, stack_rows(store["stays"]), stack_rows(store["work"]))
    return Life(scene, stack_rows(store["units"]), stays, work, stack_rows(store["findings"]), stack_rows(store["seen"]))


def choose_records(scene: Scene, stays: dict, work: dict) -> tuple[dict, dict]:
    """Stays that the window shows, and those of earlier units that stood for their group in a test; work on all these."""
    tested = np.unique(work["unit"][(work["kind"] == DISCHARGE) | work["exam"]])
    shown = (stays["removed"] > scene.start) | np.isin(stays["unit"], tested)
    stays = {name: values[shown & (stays["since"] <= scene.end)] for name, values in stays.items()}
    known = np.isin(work["unit"], stays["unit"])
    return stays, {name: values[known] for name, values in work.items()}


def fit_units(scene, state, groups, store, where, day, kind, draws) -> None:
    """Buy units for slots and count them into their sample groups."""
    bought = sum(len(c["unit"]) for c in store["units"])
    new = buy_units(scene, state, where, day, kind, bought, draws)
    groups.join(new["vessel"], new["kind"], new["card"], new["precision"])
    store["units"].append(new)


def visit_slots(scene: Scene, state: dict, groups: Groups, store: dict, visit: tuple, draws: Draws) -> None:
    """One visit of one batch on every vessel: removals first, then service, then replacements and transfers."""
    at, day, provider = visit
    late = rate_lateness(scene.vessels, scene.slots.vessel[at], day, scene.truth)
    missed = draws.uniform(len(at)) < np.minimum(0.5, scene.truth.unit_missed_share * late)
    day = day + np.where(missed, draws.between(15, 70, len(at)), 0)
    here = (day <= scene.end) & (state["since"][at] < day)
    at, day, provider, late = at[here], day[here], provider[here], late[here]
    if not len(at):
        return
    served = remove_others(scene, state, groups, store, at, day, draws.split(1))
    at, day, provider, late = at[served], day[served], provider[served], late[served]
    seen = {name: state[name][at].copy() for name in ("unit", "kind", "made", "onset", "rate", "wall", "pressure")}
    seen |= {
        "slot": at,
        "vessel": scene.slots.vessel[at],
        "space": scene.slots.space[at],
        "day": day,
        "provider": provider,
        "years": (day - state["served"][at]) / 365.25,
    }
    seen["group"] = groups.number(seen["vessel"], seen["kind"], state["card"][at])
    plan_tests(scene, seen, groups, late, draws.split(2))
    judge_corrosion(scene, seen, draws.split(3))
    found = find_defects(scene, seen, draws.split(4))
    keep_records(scene, store, seen, found, write_work(scene, seen, draws.split(5)))
    passed = seen["is_pressure"] & ~seen["condemned"]
    state["pressure"][at[passed]] = day[passed]
    state["served"][at] = day
    ashore = passed & (draws.uniform(len(at)) < 0.3) & (state["since"][at] < day - 6)
    state["landed_from"][at[ashore]], state["landed_to"][at[ashore]] = day[ashore] - 4, day[ashore] + 9
    gone = np.flatnonzero(seen["condemned"])
    replace_units(scene, state, groups, store, at[gone], day[gone] + 1, "condemned", 20.0, draws.split(6))
    stayed = np.flatnonzero(~seen["condemned"])
    transfer_units(scene, state, groups, store, at[stayed], day[stayed], draws.split(7))


def keep_records(scene: Scene, store: dict, seen: dict, found: list[dict], work: list[dict]) -> None:
    """Keep what the window shows: all work in it, the last services and tests before it, no earlier findings."""
    if seen["day"].max() >= add_months(scene.start, -132):
        for row in work:
            history = np.where(
                np.isin(row["kind"], (DISCHARGE, PRESSURE)) | row["exam"],
                132,
                np.where(row["kind"] == ANNUAL, 16, 0),
            )
            kept = row["day"] >= np.select(
                [history == 132, history == 16],
                [add_months(scene.start, -132), add_months(scene.start, -16)],
                scene.start,
            )
            store["work"].append({name: values[kept] for name, values in row.items()})
    for row in found:
        kept = row["day"] >= scene.start
        store["findings"].append({name: values[kept] for name, values in row.items()})
    names = (
        "unit",
        "vessel",
        "space",
        "kind",
        "day",
        "provider",
        "made",
        "onset",
        "corroded",
        "loss",
        "found",
        "is_pressure",
        "p_condemn",
        "condemned",
    )
    kept = seen["day"] >= scene.start
    store["seen"].append({name: seen[name][kept] for name in names})


def remove_others(
    scene: Scene, state: dict, groups: Groups, store: dict, at: np.ndarray, day: np.ndarray, draws: Draws
) -> np.ndarray:
    """Competing removals before the service: lost, planned or other replacement, sold. Returns who is left to serve."""
    t, luck, count = scene.truth, draws.uniform(len(at)), len(at)
    years = np.minimum((day - state["served"][at]) / 365.25, 2)
    edges = np.cumsum([t.lost_per_year, t.sold_per_year, t.replaced_per_year])[:, None] * years
    lost = (luck < edges[0]) & (state["since"][at] < day - 60)
    sold = (luck >= edges[0]) & (luck < edges[1])
    replaced = ((luck >= edges[1]) & (luck < edges[2])) | (state["policy"][at] < day)
    gone = day - draws.between(1, 45, count)
    replace_units(scene, state, groups, store, at[lost], gone[lost], "lost", 25.0, draws.split(1), day[lost] + 2)
    for n, (which, reason) in enumerate(((sold & ~lost, "sold"), (replaced & ~sold & ~lost, "replaced"))):
        replace_units(scene, state, groups, store, at[which], day[which], reason, 0.0, draws.split(2 + n))
    return ~(lost | sold | replaced)


def replace_units(scene, state, groups, store, at, day, reason, gap_days, draws, not_before=None) -> None:
    """End the stays on `day` and hang new units, after a gap of `gap_days` on average."""
    if not len(at):
        return
    store["stays"].append(end_stay(state, at, day, reason))
    new_day = (day if not_before is None else not_before) + np.minimum(gap_days * draws.exponential(len(at)), 90).astype(np.int64)
    fit_units(scene, state, groups, store, at, new_day, scene.slots.kind[at], draws.split(1))


def transfer_units(scene: Scene, state: dict, groups: Groups, store: dict, at: np.ndarray, day: np.ndarray, draws: Draws) -> None:
    """Swap some units with one of the same kind on another vessel that was served within two months."""
    luck, choice = draws.uniform(len(at)), draws.uniform(len(at))
    vessel, kind = scene.slots.vessel[at], state["kind"][at]
    abroad = np.array([v.region == US_REGION for v in scene.vessels])[vessel]
    taken, pairs = np.zeros(len(at), dtype=bool), []
    for i in np.flatnonzero((luck < scene.truth.transferred_per_year / 2) & ~abroad):
        near = np.flatnonzero((kind == kind[i]) & (vessel != vessel[i]) & ~abroad & ~taken & (np.abs(day - day[i]) <= 60))
        if not taken[i] and len(near):
            j = near[int(choice[i] * len(near))]
            taken[[i, j]] = True
            pairs.append((i, j))
    if not pairs:
        return
    one, other = np.array(pairs).T
    moved = np.maximum(day[one], day[other]) + 8
    fits = moved <= scene.end
    one, other, moved = at[one[fits]], at[other[fits]], moved[fits]
    for place in (one, other):
        store["stays"].append(end_stay(state, place, moved, "transferred"))
    swap_units(state, one, other, moved)
    for place in (one, other):
        groups.join(scene.slots.vessel[place], state["kind"][place], state["card"][place], state["precision"][place])


def simulate_life(vessels: list[Vessel], start: int, end: int, seed: int, truth: Truth | None = None) -> Life:
    """The whole life of a fleet, from a seed."""
    truth = truth or Truth()
    draws = Draws(seed)
    return live_through(set_scene(vessels, start, end, truth, draws), draws.split(9))
