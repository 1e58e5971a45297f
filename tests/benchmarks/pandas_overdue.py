"""The month-end overdue table in pandas as fast as we could write it, beside pandas_plain.py. Called as a process: EXPORTS [OUT.csv].

No loop over units, four to eight columns a file, words as categories, days as whole numbers. Its counts are
those of figure.overdue_monthly for the three duties of single units and for any of them ('*'); tests/benchmarks/test_benchmarks.py holds
them against each other. It checks and keeps nothing, and tells of no row that it leaves out.
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

AS_OF = "2026-10-31"
NEVER = np.iinfo(np.int32).max
# months between, and what satisfies
DUTIES = {"onboard_check": 1, "annual_service": 12, "pressure_test": 120}
SERVED = {
    "onboard_check": ["annual_service", "recharge", "discharge_test", "pressure_test", "cartridge_check", "repair"],
    "annual_service": ["annual_service", "pressure_test"],
    "pressure_test": ["pressure_test"],
}
OUTCOMES = {
    "inspection": ["satisfactory", "unsatisfactory", "not_found", "no_access"],
    "service": ["satisfactory", "unsatisfactory"],
}


def read_table(exports: Path, table: str, dates: list[str], words: list[str], more: list[str]) -> pd.DataFrame:
    """All files of a table; days as int32 since 1970, NEVER where there is none; rows with a date that is none are left out."""
    columns = [*more, *dates, *words]
    kinds = dict.fromkeys(more, "str") | dict.fromkeys(words, "category") | dict.fromkeys(dates, "category")
    parts = [pd.read_csv(path, usecols=columns, dtype=kinds) for path in sorted(exports.rglob(f"{table}.csv"))]
    for name in (*words, *dates):
        every = pd.api.types.union_categoricals([part[name] for part in parts])
        at = 0
        for part in parts:
            part[name] = every[at : at + len(part)]
            at += len(part)
    frame = pd.concat(parts, ignore_index=True)
    is_good = np.ones(len(frame), bool)
    for name in dates:  # each different text is read once
        days = pd.to_datetime(pd.Series(frame[name].cat.categories), format="%Y-%m-%d", errors="coerce")
        is_day = days.notna().to_numpy()
        numbers = np.where(is_day, days.to_numpy().astype("datetime64[D]").astype(np.int64), NEVER).astype(np.int32)
        codes = frame[name].cat.codes.to_numpy()
        is_good &= (codes < 0) | np.append(is_day, True)[codes]
        frame[name] = np.where(codes < 0, NEVER, np.append(numbers, NEVER)[codes]).astype(np.int32)
    return frame[is_good]


def add_months(days: np.ndarray, months: int) -> np.ndarray:
    """Whole months later; a missing day is the last of its month; NEVER stays."""
    known = days != NEVER
    day = np.where(known, days, 0).astype("datetime64[D]")
    month = day.astype("datetime64[M]")
    then = month + months
    last = (then + 1).astype("datetime64[D]") - np.timedelta64(1, "D")
    moved = np.minimum(then.astype("datetime64[D]") + (day - month.astype("datetime64[D]")), last)
    return np.where(known, moved.astype(np.int64), NEVER).astype(np.int32)


def cut_out(frame: pd.DataFrame, out_from: str, out_to: str) -> pd.DataFrame:
    """The stretches from_on to to_on without those days: up to two of each."""
    is_out = (frame[out_from] != NEVER) & (frame[out_to] > frame[out_from])
    before = frame.assign(to_on=np.where(is_out, np.minimum(frame.to_on, frame[out_from]), frame.to_on))
    after = frame[is_out].assign(from_on=np.maximum(frame.from_on, frame[out_to])[is_out])
    both = pd.concat([before, after], ignore_index=True)
    return both[both.from_on < both.to_on]


def find_late(stays: pd.DataFrame, done: pd.DataFrame, months: int, basis: str) -> pd.DataFrame:
    """Stretches of a stay that are overdue (or unknown, where nothing says from when), from what was done: unit_no, done_on, sorted."""
    unit, day = done["unit_no"].to_numpy(), done["done_on"].to_numpy()
    is_last = np.append(unit[1:] != unit[:-1], True)
    until = np.where(is_last, NEVER, np.append(day[1:], NEVER))
    chained = pd.DataFrame({"unit_no": unit, "basis_on": day, "until_on": until})
    chained["due_on"] = add_months(day, months)
    chained = chained[chained.until_on > chained.due_on + 1].merge(stays, on="unit_no")
    chained = chained[(chained.until_on > chained.began_on) & (chained.basis_on < chained.gone_on)]
    first = pd.Series(NEVER, index=range(int(stays.unit_no.max()) + 1))
    is_first = np.append(True, unit[1:] != unit[:-1])
    first.loc[unit[is_first]] = day[is_first]
    begun = stays.assign(basis_on=stays[basis], until_on=first.loc[stays.unit_no].to_numpy())
    begun = begun[begun.until_on > begun.began_on]
    begun["due_on"] = add_months(begun.basis_on.to_numpy(), months)
    late = pd.concat([chained, begun], ignore_index=True)
    late["is_unknown"] = late.basis_on == NEVER
    late["late_from"] = np.where(late.is_unknown, late.began_on, np.maximum(late.began_on, late.due_on.astype(np.int64) + 1))
    late["late_to"] = np.minimum(late.gone_on, late.until_on)
    return late[late.late_from < late.late_to][["stay_no", "is_unknown", "late_from", "late_to"]]


def merge_stretches(frame: pd.DataFrame) -> pd.DataFrame:
    """Stretches of a unit aboard a vessel that touch or overlap as one."""
    frame = frame.sort_values(["imo_no", "unit_no", "from_on", "to_on"])
    reached = frame.groupby(["imo_no", "unit_no"], sort=False).to_on.cummax().shift(fill_value=-1)
    is_same = (frame.imo_no.diff() == 0) & (frame.unit_no.diff() == 0) & (frame.from_on <= reached)
    return frame.groupby((~is_same).cumsum()).agg(imo_no=("imo_no", "first"), from_on=("from_on", "min"), to_on=("to_on", "max"))


def count_at_ends(frame: pd.DataFrame, ends: np.ndarray, vessels: int) -> np.ndarray:
    """How many stretches cover each month's last day: (vessels, months)."""
    signs = np.zeros((vessels, len(ends) + 1), np.int64)
    for name, sign in (("from_on", 1), ("to_on", -1)):
        np.add.at(signs, (frame.imo_no.to_numpy(), np.searchsorted(ends, frame[name].to_numpy())), sign)
    return signs.cumsum(axis=1)[:, :-1]


def compute_overdue(exports: Path) -> tuple[pd.DataFrame, int]:
    """The table, and how many rows were read."""
    as_of = int(np.datetime64(AS_OF, "D").astype(np.int64))
    vessel = read_table(exports, "vessel", ["joined_on", "left_on", "laid_up_from", "laid_up_to"], [], ["imo_number"])
    stay_dates = ["made_on", "in_service_on", "removed_on", "landed_from", "landed_to"]
    unit = read_table(exports, "unit", stay_dates, ["is_spare"], ["unit_id", "imo_number"])
    look = read_table(exports, "inspection", ["inspected_on"], ["outcome"], ["unit_id", "imo_number"])
    work = read_table(exports, "service", ["serviced_on"], ["kind", "outcome"], ["unit_id", "imo_number"])
    rows = len(vessel) + len(unit) + len(look) + len(work)
    fleet, unit_ids = pd.Index(vessel.imo_number), pd.Index(unit.unit_id.unique())
    unit["unit_no"], unit["imo_no"] = unit_ids.get_indexer(unit.unit_id), fleet.get_indexer(unit.imo_number)
    unit = unit[unit.imo_no >= 0].reset_index(drop=True)
    did = []
    for frame, table, day in ((look, "inspection", "inspected_on"), (work, "service", "serviced_on")):
        numbers = unit_ids.get_indexer(frame.unit_id)
        is_good = (numbers >= 0) & frame.imo_number.isin(fleet) & (frame[day] <= as_of) & (frame.outcome == "satisfactory")
        kind = frame.kind if table == "service" else "inspection"
        did.append(pd.DataFrame({"unit_no": numbers, "done_on": frame[day], "kind": kind})[is_good])
    seen_on = min(look.inspected_on.min(), work.serviced_on.min())
    months = np.arange(np.datetime64(int(seen_on), "D").astype("datetime64[M]"), np.datetime64(AS_OF, "M") + 1)
    ends = np.minimum((months + 1).astype("datetime64[D]").astype(np.int64) - 1, as_of)

    began = np.where(unit.in_service_on != NEVER, unit.in_service_on, unit.made_on)
    stays = pd.DataFrame({
        "stay_no": unit.index, "unit_no": unit.unit_no, "imo_no": unit.imo_no, "made_on": unit.made_on, "began_on": began,
        "gone_on": unit.removed_on,
    })  # fmt: skip
    stays = stays[stays.began_on != NEVER]
    counted = stays.join(unit[["is_spare", "landed_from", "landed_to"]]).join(vessel.reset_index(drop=True), on="imo_no")
    counted = counted[counted.is_spare.astype(str).str.lower() != "true"]
    counted["from_on"] = np.where(counted.joined_on != NEVER, np.maximum(counted.began_on, counted.joined_on), counted.began_on)
    counted["to_on"] = np.minimum(counted.gone_on, counted.left_on)
    return _count_all(counted, stays, did, ends, fleet, as_of), rows


def _count_all(counted, stays, did, ends, fleet, as_of: int) -> pd.DataFrame:
    counted = cut_out(cut_out(counted, "landed_from", "landed_to"), "laid_up_from", "laid_up_to")
    scope = counted[["stay_no", "unit_no", "imo_no", "from_on", "to_on"]].copy()
    scope["to_on"] = np.minimum(scope.to_on, as_of + 1)
    scope = scope[scope.from_on <= as_of]
    units = count_at_ends(merge_stretches(scope), ends, len(fleet))
    looked, worked = did
    every, tables = [], {}
    for duty, months in DUTIES.items():
        done = worked[worked.kind.isin(SERVED[duty])][["unit_no", "done_on"]]
        if duty == "onboard_check":
            done = pd.concat([looked[["unit_no", "done_on"]], done])
        done = done.drop_duplicates().sort_values(["unit_no", "done_on"])
        late = find_late(stays, done, months, "made_on" if duty == "pressure_test" else "began_on").merge(scope, on="stay_no")
        late["from_on"], late["to_on"] = np.maximum(late.from_on, late.late_from), np.minimum(late.to_on, late.late_to)
        every.append(late[late.from_on < late.to_on])
        tables[duty] = every[-1]
    tables["*"] = pd.concat(every, ignore_index=True)
    out = []
    for duty, late in tables.items():
        overdue = count_at_ends(merge_stretches(late[~late.is_unknown]), ends, len(fleet))
        unknown = count_at_ends(merge_stretches(late), ends, len(fleet)) - overdue
        for imo, *counts in [
            ("*", *(c.sum(axis=0) for c in (units, overdue, unknown))),
            *zip(fleet, units, overdue, unknown, strict=True),
        ]:
            out.append(
                pd.DataFrame(
                    dict(zip(("units", "overdue", "unknown"), counts, strict=True))
                    | {"month_end": ends, "imo_number": imo, "duty": duty}
                )
            )
    table = pd.concat(out, ignore_index=True)
    return table.assign(month_end=table.month_end.to_numpy().astype("datetime64[D]"))


def time_script(compute: Callable[[Path], tuple[pd.DataFrame, int]]) -> None:
    """Print seconds, rows read and lines made as JSON; with OUT.csv also write the table."""
    started = time.perf_counter()
    table, rows = compute(Path(sys.argv[1]))
    seconds = time.perf_counter() - started
    if len(sys.argv) > 2:
        table.to_csv(sys.argv[2], index=False)
    print(json.dumps({"seconds": seconds, "rows": rows, "lines": len(table)}))


if __name__ == "__main__":
    time_script(compute_overdue)
