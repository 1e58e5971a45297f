"""Why a unit stands where it stands. In: figure.condemn_now, watch_sign, watch_proof, the model. Out: reasons with weights and records."""

from __future__ import annotations

from typing import NamedTuple

import duckdb
import numpy as np

from pipeline.figures.insert import insert_many
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


def read_words(con: duckdb.DuckDBPyConnection, model: Model | None) -> dict[str, dict[str, str]]:
    """By sign, what the records say of it, by unit; of corrosion without how severe it was called where the list does not weigh that."""
    said: dict[str, dict[str, str]] = {}
    for unit, trait, text in con.execute("from watch_sign").fetchall():
        said.setdefault(trait, {})[unit] = text
    if model is None or "major" not in model.traits:
        said["corrosion"] = said.get("grade", {})
    return said


def weigh_signs(con: duckdb.DuckDBPyConnection, rows: Rows, model: Model | None) -> dict[str, list[Reason]]:
    """By unit, the reasons that weigh most and that a record shows, at most three; those that halve the odds or more, at most two; and
    that records are missing."""
    said, kind, least = read_words(con, model), *(("points", LEAST_POINTS) if model is None else ("odds", LEAST_ODDS))
    signs = [(sign, said.get(sign, {}), weight.tolist()) for sign, weight in weigh_traits(rows, model).items()]
    missing, told = said.get(NO_SERVICE, {}), {}
    for n, unit in enumerate(rows.unit.tolist()):
        found = [Reason(kind, sign, words[unit], round(weight[n], 6)) for sign, words, weight in signs if unit in words]
        found.sort(key=lambda reason: (-reason.weight, reason.trait))
        mine = [reason for reason in found if reason.weight >= least - 1e-9][:MOST_REASONS]
        if model is not None:
            mine += [reason for reason in found if reason.weight <= LARGE_LOWER][-MOST_LOWER:]
        if unit in missing:
            mine.append(Reason("no record", NO_SERVICE, missing[unit], None))
        told[unit] = mine
    return told


def write_proofs(con: duckdb.DuckDBPyConnection, reasons: dict[str, list[Reason]], columns: dict[str, tuple]) -> None:
    """Fill figure.watch_reason: each reason with its own record, or with each record that shows its sign."""
    told, own = "unit_id, imo_number, reason_no, kind, trait, reason, weight", "table_name, file_id, record_no, line_no, seen_on"
    con.execute(f"create temp table told_reason as select {told}, false as has_own from figure.watch_reason limit 0")
    con.execute(f"create temp table own_proof as select unit_id, reason_no, {own} from figure.watch_reason limit 0")
    numbered = [(unit, n, reason) for unit, mine in reasons.items() for n, reason in enumerate(mine, 1)]
    rows = [(unit, columns[unit][0], n, *reason[:4], reason.proof is not None) for unit, n, reason in numbered]
    insert_many(con, "told_reason", rows)
    insert_many(con, "own_proof", [(unit, n, *reason.proof) for unit, n, reason in numbered if reason.proof])
    con.execute(f"""
        insert into figure.watch_reason
        with shown as (
            select {told}, {own} from told_reason join own_proof using (unit_id, reason_no)
            union all
            select {told}, {own} from told_reason join watch_proof using (unit_id, trait) where not has_own
        )
        from shown order by unit_id, reason_no, seen_on desc, file_id, record_no""")
    con.execute("drop table told_reason; drop table own_proof")
