"""The rows from which the watch list learns, and the traits it looks at. In: figure.unit_half_year. Out: arrays, one place a row."""

from __future__ import annotations

from typing import NamedTuple

import duckdb
import numpy as np

# Each with the step to which its odds are quoted. Which eight was settled on simulated fleets that stand in no test.
TRAITS = {
    "age": "10 years of age",
    "grade": "a rust grade",
    "major": "corrosion called major",
    "pit": "1 mm of pit",
    "wall": "0.1 mm of wall lost",
    "test": "pressure test due",
    "deck": "open deck",
    "co2": "CO2",
}
STEPS = {"wall": 0.1}
EIGHT = tuple(TRAITS)
THREE = ("age", "grade", "test")
DEEPEST_MM = 2.0  # a deeper pit counts as this deep: one reading must not carry the list
NEVER = np.datetime64("NaT")
OVERLAP = 0.5  # half-years look 12 months ahead: each month is looked at twice


class Rows(NamedTuple):
    """One place (n,) a unit and half-year. condemned is NaN where it can't be told yet, share the part of the year it was watched.

    told, condemned_known, gone_known: days from which the outcome, that it was condemned, or gone, was known; NaT where there is none.
    """

    starts: np.ndarray
    is_now: np.ndarray
    unit: np.ndarray
    vessel: np.ndarray
    age: np.ndarray
    grade: np.ndarray
    major: np.ndarray
    pit: np.ndarray
    wall: np.ndarray
    test: np.ndarray
    deck: np.ndarray
    co2: np.ndarray
    corroded: np.ndarray
    hard: np.ndarray
    condemned: np.ndarray
    gone: np.ndarray
    share: np.ndarray
    told: np.ndarray
    condemned_known: np.ndarray
    gone_known: np.ndarray

    def pick(self, which: np.ndarray) -> Rows:
        """Those rows."""
        return Rows(*(each[which] for each in self))


def read_rows(con: duckdb.DuckDBPyConnection) -> Rows:
    """All rows, by half-year and unit. An ungraded report of corrosion counts as Ri1, no reading of a pit or wall as nothing lost."""
    found = con.execute(f"""
        select starts_on, is_now, unit_id, imo_number, age_years,
            case when corrosion_days > 0 then greatest(coalesce(worst_grade, 1), 1) else 0 end as grade, is_major,
            least(coalesce(pit_mm, 0), {DEEPEST_MM}) as pit, coalesce(wall_lost_mm, 0) as wall, is_test_due,
            space_category = 'open_deck' as deck, agent = 'co2' as co2, is_corroded_at_last, hard_signs, condemned::integer as condemned,
            gone_on is not null as gone, watched_share, told_on, condemned_known_on, gone_known_on
        from figure.unit_half_year order by starts_on, unit_id""").fetchnumpy()
    columns = {name: np.ma.asarray(values) for name, values in found.items()}
    plain = [np.asarray(columns[name], kind) for name, kind in
             (("starts_on", "datetime64[D]"), ("is_now", bool), ("unit_id", str), ("imo_number", str))]  # fmt: skip
    names = ("age_years", "grade", "is_major", "pit", "wall", "is_test_due", "deck", "co2", "is_corroded_at_last", "hard_signs",
             "condemned")  # fmt: skip
    numbers = [np.ma.filled(columns[name].astype(float), np.nan) for name in names]
    gone = np.ma.filled(columns["gone"].astype(bool), False)
    days = [
        np.ma.filled(columns[name].astype("datetime64[D]"), NEVER) for name in ("told_on", "condemned_known_on", "gone_known_on")
    ]
    return Rows(*plain, *numbers, gone, np.ma.filled(columns["watched_share"].astype(float), np.nan), *days)


def lay_out(rows: Rows, traits: tuple[str, ...], age_else: float) -> np.ndarray:
    """Features (n, k): age in decades, grade 0 to 5, pit and wall in mm, the others 0 or 1; an unknown age is `age_else` years."""
    columns = {name: np.asarray(getattr(rows, name), float) for name in traits}
    columns["age"] = np.where(np.isnan(rows.age), age_else, rows.age) / 10
    return np.column_stack([columns[name] for name in traits])


def middle_age(rows: Rows) -> float:
    """Median age in years of those whose age is known; 0 where none is."""
    known = rows.age[~np.isnan(rows.age)]
    return float(np.median(known)) if len(known) else 0.0


def score_by_rule(rows: Rows) -> np.ndarray:
    """Points (n,): 2 for corrosion at the last service or since, 1 for a pressure test due, a fifteenth for a year of age, half for
    open deck. A judgement, as good as any fitted model with ten events or fewer in the project's simulations."""
    age = np.where(np.isnan(rows.age), middle_age(rows), rows.age)
    return 2 * rows.corroded + rows.test + age / 15 + 0.5 * rows.deck


def forget_later(rows: Rows, day: np.datetime64) -> Rows:
    """The rows whose outcome could be told by that day, with the outcome as it was known then: who was condemned or gone and not yet
    said to be counts as watched all year."""
    known = rows.pick(~np.isnan(rows.condemned) & (rows.told <= day))
    condemned = np.where(known.condemned_known <= day, known.condemned, 0.0)
    gone = known.gone & (known.gone_known <= day)
    return known._replace(condemned=condemned, gone=gone, share=np.where(gone, known.share, 1.0))


def find_cutoffs(rows: Rows) -> list[np.datetime64]:
    """Half-years whose 12 months are over."""
    return sorted(np.unique(rows.starts[~np.isnan(rows.condemned)]).tolist())


def end_of_year(starts: np.ndarray) -> np.ndarray:
    """The day 12 months later, of first days of a month."""
    return (starts.astype("datetime64[M]") + 12).astype("datetime64[D]")
