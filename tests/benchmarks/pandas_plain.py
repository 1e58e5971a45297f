"""What an analyst would write: all of the CSVs in pandas, and the month-end overdue table by merge_asof. Called as a process: EXPORTS [OUT.csv].

Vectorised and without a loop over units or months; pandas_overdue.py is the same table as fast as we could make it, at twice the length. Both count what figure.overdue_monthly counts for the three duties of single units and for any of them
('*'); tests/benchmarks/test_benchmarks.py holds them against it. Neither checks, keeps or proves anything.
"""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from tests.benchmarks.pandas_overdue import AS_OF, DUTIES, SERVED, time_script

DATES = {
    "vessel": ["joined_on", "left_on", "laid_up_from", "laid_up_to"],
    "unit": ["made_on", "in_service_on", "removed_on", "landed_from", "landed_to"],
    "inspection": ["inspected_on"],
    "service": ["serviced_on"],
}


def read_table(exports: Path, table: str) -> pd.DataFrame:
    """All files of a table, its dates as dates; rows with a date that is none are left out."""
    parts = [pd.read_csv(path, dtype={"imo_number": str, "unit_id": str}) for path in sorted(exports.rglob(f"{table}.csv"))]
    frame = pd.concat(parts, ignore_index=True)
    for name in DATES[table]:
        days = pd.to_datetime(frame[name], format="%Y-%m-%d", errors="coerce")
        frame = frame[days.notna() | frame[name].isna()].assign(**{name: days})
    return frame


def list_counted(unit: pd.DataFrame, vessel: pd.DataFrame, ends: pd.DatetimeIndex) -> pd.DataFrame:
    """One row a stay and a month-end on which it counts."""
    stay = unit.merge(vessel, on="imo_number").assign(began_on=lambda frame: frame.in_service_on.fillna(frame.made_on))
    stay = stay[stay.began_on.notna() & (stay.is_spare.astype(str).str.lower() != "true")]
    columns = ["imo_number", "unit_id", "made_on", "began_on", "joined_on", "removed_on", "left_on", "landed_from", "landed_to"]
    grid = stay[[*columns, "laid_up_from", "laid_up_to"]].merge(pd.Series(ends, name="month_end"), how="cross")
    end = grid.month_end
    is_there = (grid.began_on <= end) & ~(grid.joined_on > end) & ~(grid.removed_on <= end) & ~(grid.left_on <= end)
    is_ashore = (grid.landed_from <= end) & ~(grid.landed_to <= end) | (grid.laid_up_from <= end) & ~(grid.laid_up_to <= end)
    return grid.loc[is_there & ~is_ashore, ["imo_number", "unit_id", "made_on", "began_on", "month_end"]].sort_values("month_end")


def find_states(counted: pd.DataFrame, done: pd.DataFrame, duty: str, months: int) -> pd.DataFrame:
    """Each vessel, unit and month-end with whether it is overdue and whether nobody can tell."""
    dated = pd.merge_asof(counted, done.sort_values("done_on"), left_on="month_end", right_on="done_on", by="unit_id")
    basis = dated.done_on.fillna(dated["made_on" if duty == "pressure_test" else "began_on"])
    dated["is_unknown"] = basis.isna()
    dated["is_overdue"] = basis + pd.DateOffset(months=months) < dated.month_end
    return dated[["imo_number", "unit_id", "month_end", "is_overdue", "is_unknown"]]


def count_units(states: pd.DataFrame, duty: str) -> pd.DataFrame:
    """Units, overdue and unknown by month-end and vessel, and of the fleet ('*'); a unit with two stays counts once."""
    each = states.groupby(["imo_number", "month_end", "unit_id"])[["is_overdue", "is_unknown"]].max().reset_index()
    each["is_unknown"] &= ~each.is_overdue
    counts = each.groupby(["imo_number", "month_end"]).agg(
        units=("unit_id", "size"), overdue=("is_overdue", "sum"), unknown=("is_unknown", "sum")
    )
    fleet = counts.groupby("month_end").sum().reset_index().assign(imo_number="*")
    return pd.concat([counts.reset_index(), fleet]).assign(duty=duty)


def compute_overdue(exports: Path) -> tuple[pd.DataFrame, int]:
    """The table, and how many rows were read."""
    vessel, unit, look, work = (read_table(exports, table) for table in DATES)
    unit = unit[unit.imo_number.isin(vessel.imo_number)]
    rows = len(vessel) + len(unit) + len(look) + len(work)
    done = pd.concat(
        [
            look.rename(columns={"inspected_on": "done_on"}).assign(kind="inspection"),
            work.rename(columns={"serviced_on": "done_on"}),
        ]
    )[["unit_id", "imo_number", "done_on", "kind", "outcome"]]
    known = done.unit_id.isin(unit.unit_id) & done.imo_number.isin(vessel.imo_number) & (done.done_on <= AS_OF)
    seen_on = min(look.inspected_on.min(), work.serviced_on.min())
    done = done[known & (done.outcome == "satisfactory")].drop_duplicates(["unit_id", "done_on", "kind"])
    ends = pd.date_range(seen_on, pd.Timestamp(AS_OF) + pd.offsets.MonthEnd(0), freq="ME")
    counted = list_counted(unit, vessel, ends)
    states = {}
    for duty, months in DUTIES.items():
        kinds = [*SERVED[duty], "inspection"] if duty == "onboard_check" else SERVED[duty]
        states[duty] = find_states(counted, done.loc[done.kind.isin(kinds), ["unit_id", "done_on"]], duty, months)
    states["*"] = pd.concat(states.values())
    return pd.concat([count_units(frame, duty) for duty, frame in states.items()], ignore_index=True), rows


if __name__ == "__main__":
    time_script(compute_overdue)
