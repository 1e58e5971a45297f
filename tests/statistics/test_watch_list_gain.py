"""Does the watch list find more than oldest first, and do its chances hold, on fleets that nobody looked at while it was made?

Invented fleets of tests/simulator with other seeds and other true parameters than those with which traits were chosen (seeds 500 to
511). The best possible list, by true chances that no record shows, stands beside. Run this module by its name to print the table.
"""

from __future__ import annotations

from dataclasses import replace
from importlib.resources import files
from itertools import pairwise
from typing import NamedTuple

import duckdb
import numpy as np
import pytest

from pipeline.figures import back_test
from pipeline.figures.statistics.hazard import expit, fit_hazard
from pipeline.figures.statistics.scores import calibrate, count_top, precision_at
from pipeline.figures.watch_model import fit_model, pick_training
from pipeline.figures.watch_rows import OVERLAP, Rows, end_of_year, read_rows
from pipeline.statements import run_sql
from tests.simulator.parameters import Truth
from tests.statistics.watched_fleet import AS_OF, build_watched

FIRST_SEED = 9101
# vessels, units each, years, and what differs from the simulator's own parameters
SETTINGS: tuple[tuple[int, int, int, dict], ...] = (
    (14, 65, 8, {"condemn_found": 2.0, "condemn_per_mm": 6.0}),
    (10, 70, 9, {"onset_shape": 1.8, "onset_frailty_sd": 0.4}),
    (16, 50, 8, {"specificity": 0.97, "condemn_base": -5.8}),
    (12, 75, 8, {"wall_read_share": 0.1, "wall_loss_mm_per_year": 0.05}),
    (18, 45, 8, {"condemn_per_10_years": 0.8, "condemn_co2": 0.0}),
    (11, 70, 8, {"replaced_per_year": 0.03, "lost_per_year": 0.01, "condemn_pressure_test": 1.0}),
    (13, 60, 9, {"visit_late_share": 0.3, "unit_missed_share": 0.06}),
    (12, 65, 8, {"onset_shape": 2.8, "wall_loss_gamma_shape": 2, "condemn_open_deck": 0.0}),
    (15, 55, 9, {"policy_share": 0.8, "condemn_base": -5.9}),
    (10, 80, 8, {"sensitivity_slope_per_mm": 2.5, "condemn_per_mm": 9.0}),
)


class Told(NamedTuple):
    """One fleet, half-years together in which eight traits were carried: precision in the first 5 %, calibration slope, list shown."""

    events: int
    condemned: int
    oldest: float
    rule: float
    model: float
    best: float
    slope: float | None
    kind: str

    @property
    def way(self) -> float:
        """How far the model goes from oldest first to the best possible list."""
        return (self.model - self.oldest) / (self.best - self.oldest)


def tell_fleet(con: duckdb.DuckDBPyConnection) -> Told | None:
    """The figures of a fleet; None where it never had more than 40 condemned units to learn from."""
    run_sql(con, files("pipeline.figures").joinpath("back_test.sql").read_text(encoding="utf-8"), {"as_of": AS_OF})
    back_test.fill(con, AS_OF)
    rows = read_rows(con)
    known = con.execute(
        "select coalesce(true_chance, 0) from figure.unit_half_year left join truth using (unit_id, starts_on) order by starts_on, unit_id"
    )
    truth = np.array([chance for (chance,) in known.fetchall()])
    found, tops, chances, outcomes = {m: 0.0 for m in ("oldest_first", "rule", "model", "best")}, 0, [], []
    events = condemned = 0
    for cutoff in back_test.find_cutoffs(rows):
        trials = {t.method: t for t in back_test.try_methods(rows, cutoff)}
        if trials["model"].kind != "chances":
            continue
        kept = ~trials["model"].rows.gone
        happened = trials["model"].rows.condemned[kept]
        best = truth[(rows.starts == np.datetime64(cutoff)) & ~np.isnan(rows.condemned)]
        scores = {m: trials[m].scores[kept] for m in ("oldest_first", "rule", "model")} | {"best": best[kept]}
        top = count_top(len(happened), 0.05)
        for method, score in scores.items():
            found[method] += precision_at(score, happened, top) * top
        tops, condemned, events = tops + top, condemned + int(happened.sum()), trials["model"].events
        chances.append(trials["model"].chances[kept])
        outcomes.append(happened)
    if not tops:
        return None
    bent = calibrate(np.concatenate(chances), np.concatenate(outcomes))
    kind = con.execute("select kind from figure.watch_model").fetchone()[0]
    return Told(events, condemned, *(found[m] / tops for m in found), bent and bent.slope, kind)


def build_held_out(number: int) -> duckdb.DuckDBPyConnection:
    """The fleet of this number, 0 to 19: each setting twice."""
    vessels, units, years, changes = SETTINGS[number % len(SETTINGS)]
    return build_watched(vessels, units, years, FIRST_SEED + number, replace(Truth(), **changes))


def tell_held_out(fleets: int) -> list[Told]:
    """Those of the first fleets that had enough to learn from."""
    told = []
    for number in range(fleets):
        con = build_held_out(number)
        told.append(tell_fleet(con))
        con.close()
    return [each for each in told if each is not None]


@pytest.mark.slow
def test_the_list_beats_oldest_first_on_fleets_held_out():
    told = tell_held_out(20)
    assert len(told) == 20
    assert np.mean([each.model >= each.oldest for each in told]) >= 0.75
    assert np.median([each.way for each in told]) >= 0.25
    assert 0.8 <= np.median([each.slope for each in told]) <= 1.25
    # the best possible list is better than any, or the truth is not what it says
    assert all(each.best > each.oldest for each in told) and np.mean([each.best - each.model for each in told]) > 0


@pytest.mark.slow
def test_permuted_outcomes_give_no_lift():
    """Outcomes dealt anew among the units of each half-year: the first 5 % hold as many as any 5 %."""
    found, expected, spread = 0.0, 0.0, 0.0
    for number in range(4):
        con = build_held_out(number)
        con.execute(
            """create or replace table figure.unit_half_year as
            with numbered as (select *, row_number() over (partition by starts_on order by unit_id) as place from figure.unit_half_year),
            dealt as (select starts_on, condemned, condemned_on, gone_reason, gone_on, watched_share, told_on, condemned_known_on, gone_known_on,
                row_number() over (partition by starts_on order by hash(unit_id || starts_on::varchar || $seed)) as place from figure.unit_half_year)
            select numbered.* exclude (place) replace (dealt.condemned as condemned, dealt.condemned_on as condemned_on,
                dealt.gone_reason as gone_reason, dealt.gone_on as gone_on, dealt.watched_share as watched_share, dealt.told_on as told_on,
                dealt.condemned_known_on as condemned_known_on, dealt.gone_known_on as gone_known_on)
            from numbered join dealt using (starts_on, place)""",
            {"seed": str(number)},
        )
        told = tell_fleet(con)
        rows = con.execute(
            "select found_5, top_5, condemned / units from figure.back_test where cutoff is not null and method = 'model' and top_5 is not null"
        ).fetchall()
        assert told is not None and len(rows) > 4
        for hits, top, share in rows:
            found, expected, spread = found + hits, expected + top * share, spread + top * share * (1 - share)
        con.close()
    assert abs(found - expected) < 3.5 * np.sqrt(spread), (found, expected)


@pytest.mark.slow
@pytest.mark.parametrize("seed", [9201, 9202, 9203])
def test_few_condemned_units_carry_no_model(seed):
    con = build_watched(2, 25, 6, seed)
    tell_fleet(con)
    kind, why, events = con.execute("select kind, why, events from figure.watch_model").fetchone()
    assert events <= 10 and kind == "rule" and "more than 10 are needed" in why
    assert con.execute("select count(*) from figure.watch_weight").fetchone() == (0,)


def deal_outcomes(seed: int, vessels: int, each: int) -> Rows:
    """Rows of units that last, rust and age, whose outcomes are those of other units: each unit's years are dealt to another place."""
    chance = np.random.default_rng([9400, seed])
    count, days = vessels * each, [np.datetime64(f"{2020 + n // 2}-{1 + n % 2 * 6:02d}-01") for n in range(11)]
    names, age = np.arange(count), chance.uniform(0, 20, count)
    grade = np.where(chance.random(count) < 0.25, chance.integers(1, 6, count), 0)
    told, happened = [], []
    for _ in range(len(days) + 1):
        test = chance.random(count) < 0.12
        half = 1 - np.sqrt(1 - expit(-4.5 + 0.8 * grade + 1.2 * test + 0.03 * age))
        happened.append((names.copy(), chance.random(count) < half))
        told.append((names.copy(), age.copy(), grade.astype(float), test.astype(float)))
        new = happened[-1][1] | (age > 20)
        names, age, grade = np.where(new, names + count, names), np.where(new, 0, age + 0.5), np.where(new, 0, grade)
        grade = np.where(chance.random(count) < 0.05, np.minimum(grade + 1, 5), grade)
    place, n = chance.permutation(count), len(days) * count
    outcomes = [(now | (later & (u == v)))[place] for (u, now), (v, later) in pairwise(happened)]
    unit, age, grade, test = (np.concatenate([each[n] for each in told[:-1]]) for n in range(4))
    starts, none = np.repeat(days, count), np.zeros(n)
    vessel = np.tile(np.repeat(np.arange(vessels), each).astype(str), len(days))
    over = end_of_year(starts)
    return Rows(starts, np.zeros(n, bool), unit.astype(str), vessel, age, grade, (grade > 3).astype(float), none, none, test, none, none,
                (grade > 0).astype(float), none, np.concatenate(outcomes).astype(float), np.zeros(n, bool), np.ones(n), over, over, over)  # fmt: skip


class Luck(NamedTuple):
    """Of fleets whose outcomes follow nothing, how many: were tried, said better or worse than oldest first, used the model, would have
    used it by won and lost half-years alone."""

    tried: int
    claimed: int
    used: int
    naive: int


def count_luck(vessels: int, each: int, fleets: int) -> Luck:
    """Those of fleets of that size."""
    claimed = used = naive = tried = 0
    for seed in range(fleets):
        rows = deal_outcomes(seed, vessels, each)
        told, trials = back_test.run_back_test(rows, back_test.find_cutoffs(rows))
        model = fit_model(pick_training(rows, np.datetime64("2026-07-01"), is_now=True))
        low, high = next(row[back_test.GAIN + 1 : back_test.GAIN + 3] for row in told if row[0] is None and row[2] == "model")
        kind, _, won, lost = back_test.judge_list(model, told, trials)
        tried, claimed = tried + (low is not None), claimed + (low is not None and (low > 0 or high < 0))
        used, naive = used + (kind != "rule"), naive + (won >= 2 and won > lost)
    return Luck(tried, claimed, used, naive)


@pytest.mark.slow
@pytest.mark.parametrize(("vessels", "each"), [(1, 200), (2, 100), (3, 70), (6, 40), (12, 25)])
def test_luck_is_rarely_taken_for_a_better_list(vessels, each):
    """Nominal 5 % of false words either way; a model is used hardly ever. By won and lost half-years alone it would be in a third."""
    luck = count_luck(vessels, each, 40)
    assert luck.tried >= 35
    assert luck.claimed <= 5 and luck.used <= 3, luck
    assert luck.naive >= 6


def invent_hazard(seed: int, units: int = 4000, exits: float = 0.4) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Features, outcomes and shares of the year watched, of a constant hazard by log odds -3, .8, .5, -.4, with many other exits."""
    chance = np.random.default_rng([9300, seed])
    x = np.column_stack([chance.integers(0, 3, units), chance.normal(size=units), chance.random(units) < 0.3]).astype(float)
    year = expit(-3 + x @ [0.8, 0.5, -0.4])
    at = np.log1p(-chance.random(units)) / np.log1p(-year)  # years to the event
    gone = np.where(chance.random(units) < exits, chance.random(units), 1.0)
    return x, (at <= gone).astype(float), np.where(at <= gone, 1.0, gone)


def average_fit(fleets: int, is_naive: bool) -> tuple[np.ndarray, np.ndarray]:
    """Mean and standard error of intercept and coefficients; naive takes who left as watched all year."""
    fits = []
    for seed in range(fleets):
        x, y, share = invent_hazard(seed)
        found = fit_hazard(x, y, OVERLAP * (np.ones(len(y)) if is_naive else share))
        beta = found.beta / found.scale
        fits.append([found.intercept - found.mean @ beta, *beta])
    return np.mean(fits, axis=0), np.std(fits, axis=0, ddof=1) / np.sqrt(fleets)


def test_a_known_hazard_is_recovered_and_the_naive_way_fails():
    """Twenty fleets: the mean lies within three standard errors and .05 of the truth; who takes exits as watched gets too low a level."""
    truth = np.array([-3, 0.8, 0.5, -0.4])
    mean, error = average_fit(20, False)
    assert (np.abs(mean - truth) < np.maximum(3 * error, 0.05)).all(), mean
    naive = average_fit(20, True)[0]
    assert naive[0] < truth[0] - 0.15


def print_luck(fleets: int = 40) -> None:
    """How often luck is taken for a better list."""
    for vessels, each in ((1, 200), (2, 100), (3, 70), (4, 50), (6, 40), (8, 30), (12, 25), (20, 20)):
        print(vessels, "vessels,", each, "units each:", count_luck(vessels, each, fleets), flush=True)


def print_table(fleets: int = 20) -> None:
    """What the tests see."""
    told = tell_held_out(fleets)
    print(
        "| events learned from | condemned | oldest first | four signs | model | best possible | part of the way | slope | list |"
    )
    print("|---|---|---|---|---|---|---|---|---|")
    for each in sorted(told, key=lambda t: t.events):
        numbers = (f"{v:.3f}" for v in (each.oldest, each.rule, each.model, each.best, each.way))
        print(f"| {each.events} | {each.condemned} | " + " | ".join(numbers) + f" | {each.slope:.2f} | {each.kind} |")
    better = np.mean([each.model >= each.oldest for each in told])
    medians = (np.median([getattr(each, name) for each in told]) for name in ("oldest", "rule", "model", "best", "way", "slope"))
    print(f"{len(told)} fleets, at least oldest first in {100 * better:.0f} %; medians " + ", ".join(f"{v:.3f}" for v in medians))


if __name__ == "__main__":
    print_luck()
    print_table()
