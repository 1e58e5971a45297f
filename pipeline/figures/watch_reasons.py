"""Why a unit stands where it stands. In: figure.condemn_now, watch_sign, watch_proof, the model. Out: reasons with weights and records."""

from __future__ import annotations

from typing import NamedTuple

import duckdb
import numpy as np

from pipeline.figures.watch_model import Model
from pipeline.figures.watch_rows import Rows

MOST_REASONS, MOST_LOWER = 3, 2
LEAST_ODDS, LEAST_POINTS = 1.2, 0.5
LARGE_LOWER = 0.5  # a sign that halves the odds is told as well
# Traits of the model that tell of one thing, by the sign that shows it.
SIGNS = {
    "corrosion": ("grade", "major"),
    "pit": ("pit",),
    "wall": ("wall",),
    "test": ("test",),
    "age": ("age",),
    "deck": ("deck",),
    "co2": ("co2",),
}
NO_SERVICE = "no service"


class Reason(NamedTuple):
    """kind 'hard', 'odds', 'points' or 'no record'; trait: its sign, or the rule of a hard reason; weight in odds or points."""

    kind: str
    trait: str
    said: str
    weight: float | None
    proof: tuple | None = None


def say_reason(reason: Reason) -> str:
    """'2.1 times the odds: rust grade Ri4 on 12 Mar 2026', '0.38 times the odds: a CO2 cylinder'."""
    if reason.kind == "odds":
        return f"{reason.weight:.{1 if reason.weight >= 1 else 2}f} times the odds: {reason.said}"
    if reason.kind == "points":
        return f"{reason.weight:.1f} points: {reason.said}"
    return reason.said


def find_hard(con: duckdb.DuckDBPyConnection) -> list[tuple[str, str, str, float | None, list[Reason]]]:
    """Unit, vessel, how it counts, age, hard reasons, of every unit aboard that has any."""
    found = con.execute("""
        with aboard as (
            select unit_id, min(imo_number) as imo_number, min(counted) as counted, max(age_years) as age_years from figure.unit_now group by unit_id)
        select unit_id, aboard.imo_number, counted, age_years, rule_id, reason, table_name, file_id, record_no, line_no, seen_on
        from figure.condemn_now join aboard using (unit_id) order by unit_id, rule_id, seen_on, reason, file_id, record_no""").fetchall()
    told: dict[str, tuple] = {}
    for unit, imo, counted, age, rule, said, *proof in found:
        reason = Reason("hard", rule, said, None, tuple(proof))
        told.setdefault(unit, (unit, imo, counted, age, []))[4].append(reason)
    return list(told.values())


def weigh_traits(rows: Rows, model: Model | None) -> dict[str, np.ndarray]:
    """By sign, weights (n,): times the odds of the average unit of today's fleet, or points of the rule where there is no model."""
    if model is None:
        age = np.nan_to_num(rows.age) / 15
        return {"corrosion": 2 * rows.corroded, "test": rows.test, "age": age, "deck": 0.5 * rows.deck}
    z = model.lay_out(rows)
    pull = (z - z.mean(axis=0)) * model.hazard.beta if len(z) else z
    found = {}
    for sign, traits in SIGNS.items():
        places = [model.traits.index(trait) for trait in traits if trait in model.traits]
        if places:
            found[sign] = np.exp(pull[:, places].sum(axis=1))
    return found


def pick_words(said: dict[tuple[str, str], str], unit: str, sign: str, model: Model | None) -> str | None:
    """What the records say of a sign, without how severe corrosion was called where the list does not weigh that."""
    is_plain = sign == "corrosion" and (model is None or "major" not in model.traits)
    return said.get((unit, "grade" if is_plain else sign))


def weigh_signs(con: duckdb.DuckDBPyConnection, rows: Rows, model: Model | None) -> dict[str, list[Reason]]:
    """By unit, the reasons that weigh most and that a record shows, at most three; those that halve the odds or more, at most two; and
    that records are missing."""
    said = {(unit, trait): text for unit, trait, text in con.execute("from watch_sign").fetchall()}
    kind, least = ("points", LEAST_POINTS) if model is None else ("odds", LEAST_ODDS)
    weights = weigh_traits(rows, model)
    told: dict[str, list[Reason]] = {}
    for n, unit in enumerate(rows.unit.tolist()):
        found = [
            Reason(kind, sign, words, round(float(weight[n]), 6))
            for sign, weight in weights.items() if (words := pick_words(said, unit, sign, model))
        ]  # fmt: skip
        found.sort(key=lambda reason: (-reason.weight, reason.trait))
        told[unit] = [reason for reason in found if reason.weight >= least - 1e-9][:MOST_REASONS]
        if model is not None:
            told[unit] += [reason for reason in found if reason.weight <= LARGE_LOWER][-MOST_LOWER:]
        if (unit, NO_SERVICE) in said:
            told[unit].append(Reason("no record", NO_SERVICE, said[unit, NO_SERVICE], None))
    return told


def list_proofs(con: duckdb.DuckDBPyConnection, reasons: dict[str, list[Reason]], columns: dict[str, tuple]) -> list[tuple]:
    """Rows of figure.watch_reason: each reason with each record that shows it."""
    proofs: dict[tuple[str, str], list[tuple]] = {}
    found = con.execute("""
        select unit_id, trait, table_name, file_id, record_no, line_no, seen_on from watch_proof
        order by unit_id, trait, seen_on desc, file_id, record_no""").fetchall()
    for unit, trait, *proof in found:
        proofs.setdefault((unit, trait), []).append(tuple(proof))
    return [
        (unit, columns[unit][0], number, reason.kind, reason.trait, reason.said, reason.weight, *proof)
        for unit in sorted(reasons)
        for number, reason in enumerate(reasons[unit], 1)
        for proof in ([reason.proof] if reason.proof else proofs.get((unit, reason.trait), []))
    ]
