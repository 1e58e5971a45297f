"""An invented fleet that rusts from a known age on, and whose records are all that the figures see.

In: a generator and what the looks miss. Out: an open database with the records that figure.corrosion_history reads. Every unit is looked
at once a year; a look may miss what is there and report what is not. Units that had been condemned before the records begin are not in
them. Rates and steps as in tests/simulator: none is an estimate of a real fleet.
"""

from __future__ import annotations

from datetime import date, timedelta
from typing import NamedTuple

import duckdb
import numpy as np

from pipeline.figures.insert import insert_rows
from pipeline.statements import run_sql

SHAPE, SCALE = 2.2, 14.0  # of the age at onset, years
GRADE_STEPS = (1.0, 2.5, 5.0, 9.0)  # years since onset at which Ri1 turns Ri2, Ri3, Ri4, Ri5
BEGIN = date(2018, 1, 1)
TABLES = """
create schema record; create schema figure;
create table record.unit (unit_id text, imo_number text, made_on date, in_service_on date, space_category text, agent text, lining text);
create table record.inspection (unit_id text, imo_number text, inspected_on date);
create table record.service (unit_id text, imo_number text, serviced_on date, kind text);
create table record.finding (unit_id text, imo_number text, found_on date, component text, defect text, severity text, rust_grade text);
"""


class Looks(NamedTuple):
    """What a look does: chance to see new corrosion, chance to pass what is sound, chance that moderate corrosion is condemned."""

    first_seen: float = 0.55
    specificity: float = 0.985
    removed: float = 0.5
    removed_before: float = 0.5  # the same, before the records begin

    def see(self, since_onset: np.ndarray) -> np.ndarray:
        """Chance that a look reports corrosion, by years since onset."""
        seen = 1 - (1 - self.first_seen) * np.exp(-4 * 0.045 * np.maximum(since_onset, 0))
        return np.where(since_onset > 0, seen, 1 - self.specificity)


AS_USUAL = Looks()


def draw_units(chance: np.random.Generator, vessels: int, each: int, looks: Looks, vessels_differ: float, deck: float) -> dict:
    """Units aboard when records begin or bought later: vessel, age then (below 0: not yet made), age at onset, open deck or not."""
    count = 6 * vessels * each
    vessel, age = chance.integers(0, vessels, count), chance.uniform(-5, 22, count)
    on_deck = chance.random(count) < 0.3
    factor = np.exp(vessels_differ * chance.normal(size=vessels))[vessel] * np.where(on_deck, deck, 1)
    onset = SCALE * factor * chance.weibull(SHAPE, count)
    alive = np.ones(count, bool)
    for back in range(1, 23):
        since = age - back - onset
        found = chance.random(count) < np.where(since > 0, looks.see(since), 0)
        alive &= ~(found & (since > GRADE_STEPS[1]) & (chance.random(count) < looks.removed_before))
    # the same number aboard each vessel, whatever was removed
    order = np.lexsort((chance.random(count), ~alive, vessel))
    place = np.arange(count) - np.searchsorted(vessel[order], vessel[order])
    kept = order[(place < each) & alive[order]]
    return {"vessel": vessel[kept], "age": age[kept], "onset": onset[kept], "on_deck": on_deck[kept]}


def build_fleet(chance: np.random.Generator, vessels: int = 12, each: int = 50, years: int = 8, looks: Looks = AS_USUAL,
                vessels_differ: float = 0.0, deck: float = 1.0) -> duckdb.DuckDBPyConnection:  # fmt: skip
    """Records of `years` years. `vessels_differ` is the sd of the log of a vessel's factor on the age at onset, `deck` that of open deck."""
    units = draw_units(chance, vessels, each, looks, vessels_differ, deck)
    count, services, findings = len(units["age"]), [], []
    names, ships = [f"u{n}" for n in range(count)], [f"{n:07d}" for n in units["vessel"]]
    apart = chance.uniform(0, 1, count)  # of the year: the unit's turn
    aboard = np.ones(count, bool)
    for year in range(years):
        at = year + apart
        since, seen = units["age"] + at - units["onset"], aboard & (units["age"] + at > 0.1)
        found = seen & (chance.random(count) < looks.see(since))
        grade = 1 + np.searchsorted(GRADE_STEPS, np.maximum(since, 0), side="right")
        gone = found & (since > GRADE_STEPS[1]) & (chance.random(count) < looks.removed)
        aboard &= ~gone
        for n in np.flatnonzero(seen):
            day = BEGIN + timedelta(days=int(365.25 * at[n]))
            services.append((names[n], ships[n], day, "annual_service"))
            if found[n]:
                severity = "unfit" if gone[n] else "major" if since[n] > 2.67 else "minor"
                findings.append((names[n], ships[n], day, "shell", "corrosion", severity, f"Ri{grade[n]}"))
            if gone[n]:
                services.append((names[n], ships[n], day, "condemn"))
    made = [BEGIN - timedelta(days=int(365.25 * age)) for age in units["age"]]
    deck_words = ["open_deck" if on else "accommodation" for on in units["on_deck"]]
    con = duckdb.connect()
    con.execute(TABLES)
    rows = zip(names, ships, made, made, deck_words, ["powder"] * count, ["none"] * count, strict=True)
    insert_rows(con, "record.unit", list(rows))
    insert_rows(con, "record.inspection", [("u0", ship, BEGIN) for ship in sorted(set(ships))])
    insert_rows(con, "record.service", services)
    insert_rows(con, "record.finding", findings)
    return con


def figure_onset(con: duckdb.DuckDBPyConnection) -> None:
    """The figures of onset of these records."""
    from importlib.resources import files

    from pipeline.figures import corrosion_onset

    as_of = BEGIN + timedelta(days=366 * 8)
    for name in ("corrosion_history", "corrosion_onset"):
        run_sql(con, files("pipeline.figures").joinpath(f"{name}.sql").read_text(encoding="utf-8"), {"as_of": as_of})
    corrosion_onset.fill(con, as_of)()(con)
