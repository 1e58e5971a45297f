"""The order in which to look at units. In: figure.unit_half_year, watch_model, condemn_now, watch_proof. Out: watch_list, watch_reason."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import NamedTuple

import duckdb
import numpy as np

from pipeline.figures.insert import insert_many
from pipeline.figures.statistics.scores import count_top
from pipeline.figures.watch_model import CHANCES, RULE, Model, fit_model, pick_training
from pipeline.figures.watch_reasons import Reason, find_hard, say_reason, weigh_signs, write_proofs
from pipeline.figures.watch_rows import Rows, read_rows, score_by_rule
from pipeline.figures.watch_scores import BANDS

# What a record to come would take away, and which traits it would set to nothing.
TEST_PASSED = "a pressure test that it passes"
HARD_STANDS = "a hard reason stands whatever the order"
CHANGES = {
    TEST_PASSED: ("test",),
    "26 months of services that find no corrosion": ("grade", "major", "corroded", "pit"),
}
# What a record to come would add, told of units that none of these would move down.
RUST, RUST_GRADE = "corrosion found, of rust grade Ri3", 3
NOTHING_MOVES = "no such record moves it: only a hard reason would"


class Order(NamedTuple):
    """Scores (n,) by which the units stand, chances with limits or None, and what each change would make of the scores."""

    kind: str
    scores: np.ndarray
    chances: np.ndarray | None
    low: np.ndarray | None
    high: np.ndarray | None
    changed: dict[str, np.ndarray]


def set_aside(rows: Rows, traits: tuple[str, ...]) -> Rows:
    """The same rows without these traits."""
    return rows._replace(**{trait: np.zeros(len(rows.unit)) for trait in traits})


def find_rust(rows: Rows) -> Rows:
    """The same rows after a report of corrosion of that grade."""
    return rows._replace(grade=np.maximum(rows.grade, RUST_GRADE), corroded=np.ones(len(rows.unit)))


def change_scores(rows: Rows, score: Callable[[Rows], np.ndarray]) -> dict[str, np.ndarray]:
    """Scores (n,) after each change, by its words."""
    return {name: score(set_aside(rows, traits)) for name, traits in CHANGES.items()} | {RUST: score(find_rust(rows))}


def order_units(rows: Rows, model: Model | str, kind: str) -> Order:
    """By the model, or by the rule where it is not used."""
    if kind == RULE or isinstance(model, str):
        # an unknown age is the middle one of these rows, which no change moves
        return Order(RULE, score_by_rule(rows), None, None, None, change_scores(rows, score_by_rule))
    changed, chances = change_scores(rows, model.chance), model.chance(rows)
    if kind != CHANCES:
        return Order(kind, chances, None, None, None, changed)
    return Order(kind, chances, chances, *model.limits(rows), changed)


def name_bands(scores: np.ndarray) -> list[str]:
    """Band of each unit by its place in the fleet."""
    place = np.empty(len(scores), int)
    place[np.argsort(-scores, kind="stable")] = np.arange(len(scores))
    edges = [count_top(len(scores), share) for share, _ in BANDS]
    return [BANDS[band][1] for band in np.searchsorted(edges, place, side="right").tolist()]


def say_changes(order: Order, hard: int, by_score: np.ndarray) -> list[tuple[str, int | None]]:
    """Of each unit (n,) what would move it down most, else what would move it up, and its rank then among the others as they stand;
    by_score: all scores, rising."""
    names, changed = list(CHANGES), np.array([order.changed[name] for name in CHANGES])
    best = changed.argmin(axis=0)
    then = changed.min(axis=0)
    best = np.where(then >= order.scores - 1e-9, len(names), best)
    then = np.where(best == len(names), order.changed[RUST], then)
    # of those above what it would have then, the unit itself is one as it stands now, where it would move down
    above = len(by_score) - np.searchsorted(by_score, then + 1e-12, side="right")
    ranks, moves = hard + above + (then > order.scores), np.abs(then - order.scores) >= 1e-9
    words = [f"{name}: rank " for name in (*names, RUST)]
    each = zip(*(values.tolist() for values in (moves, best, ranks, then)), strict=True)
    return [
        (f"{words[place]}{rank}{say_score(order.kind, score)}", rank) if is_moved else (NOTHING_MOVES, None)
        for is_moved, place, rank, score in each
    ]


def say_score(kind: str, score: float) -> str:
    """The score after a change, in words that follow its rank; nothing where the list shows no such number."""
    return f", chance then {100 * score:.0f} %" if kind == CHANCES else f", {score:.1f} points then" if kind == RULE else ""


def read_columns(con: duckdb.DuckDBPyConnection) -> dict[str, tuple]:
    """By unit: vessel, age, next pressure test, how it counts."""
    found = con.execute("""
        select unit_id, imo_number, age_years, test_due_on from figure.unit_half_year where is_now order by unit_id""").fetchall()
    return {unit: (imo, age, due, "in service") for unit, imo, age, due in found}


def write_list(
    rows: Rows, order: Order, reasons: dict[str, list[Reason]], columns: dict[str, tuple], past: dict[str, tuple]
) -> list[tuple]:
    """Rows of figure.watch_list."""
    hard = {unit: "; ".join(r.said for r in told if r.kind == "hard") for unit, told in reasons.items()}
    hard = {unit: said for unit, said in hard.items() if said}
    bands, scores, numbers = name_bands(order.scores), order.scores.tolist(), write_numbers(order)
    where = {unit: n for n, unit in enumerate(rows.unit.tolist())}
    by_score = np.sort(order.scores[[n for unit, n in where.items() if unit not in hard]])
    changes, score = say_changes(order, len(hard), by_score), {unit: scores[n] for unit, n in where.items()}
    ranked = sorted(columns, key=lambda unit: (unit not in hard, -score.get(unit, -1.0), -(columns[unit][1] or 0), unit))
    told = []
    for rank, unit in enumerate(ranked, 1):
        imo, age, due, counted = columns[unit]
        said = "; ".join(say_reason(reason) for reason in reasons.get(unit, []))
        n, mine = where.get(unit), (rank, unit, imo, counted, hard.get(unit), order.kind)
        if n is None:
            told.append((*mine, *(None,) * 5, said, HARD_STANDS, *(None,) * 3, age, due, None))
            continue
        change = (HARD_STANDS, None) if unit in hard else changes[n]
        *shown, without = numbers[n]
        told.append((*mine, bands[n], *shown, said, *change, *past.get(bands[n], (None, None)), age, due, without))
    return told


def write_numbers(order: Order) -> list[tuple[float | None, ...]]:
    """Of each unit (n,): chance with limits, points, and how many times the score it has without a pressure test; None where the list has
    no such number."""
    is_rule = order.kind == RULE
    without = None if is_rule else order.changed[TEST_PASSED] / order.scores
    columns = (order.chances, order.low, order.high, order.scores if is_rule else None, without)
    none = [None] * len(order.scores)
    return list(zip(*(none if v is None else [round(value, 6) for value in v.tolist()] for v in columns), strict=True))


def fill(con: duckdb.DuckDBPyConnection, as_of: date) -> None:
    """Fill both tables."""
    every = read_rows(con)
    rows = every.pick(every.is_now)
    kind = con.execute("select kind from figure.watch_model").fetchall()[0][0]
    model = fit_model(pick_training(every, np.datetime64(as_of), is_now=True))
    order, columns = order_units(rows, model, kind), read_columns(con)
    reasons = weigh_signs(con, rows, model if order.kind != RULE else None)
    for unit, imo, counted, age, told in find_hard(con):
        columns.setdefault(unit, (imo, age, None, counted))
        reasons[unit] = told + reasons.get(unit, [])
    groups = con.execute("select label, units, condemned from figure.back_test_group where grouped_by = 'band'").fetchall()
    past = {label: (units, condemned) for label, units, condemned in groups} if order.kind != RULE else {}
    insert_many(con, "figure.watch_list", write_list(rows, order, reasons, columns, past))
    write_proofs(con, reasons, columns)
    con.execute("drop table watch_sign; drop table watch_proof")
