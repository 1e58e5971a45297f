"""Defects and corrosion the slow way: every unit is put under observation day by day. No SQL.

In: a Fleet (canonical rows, one per key). Out: what figure.defect_rate and figure.corrosion_by_age must hold, as dicts
from a row's key to its values. First written from the definitions alone, before its author read the SQL. What the
definitions leave open carries the mark CHOICE, as in reference_figures.
"""

import statistics
from collections import Counter, defaultdict
from collections.abc import Iterator
from datetime import date, timedelta
from typing import NamedTuple

from dateutil.relativedelta import relativedelta
from scipy import stats

from tests.property.canonical import Fleet, Row
from tests.property.lateness import FLEET
from tests.property.reference_figures import DAYS_PER_YEAR, list_counted, pick_latest
from tests.property.reference_lateness import find_filled, is_counted, is_sailing, list_days

ALL = "*"
NOT_STATED = "not stated"  # CHOICE: the word for an empty agent, lining or space
GRADES = ("Ri1", "Ri2", "Ri3", "Ri4", "Ri5")
FEWEST_TO_RATE = 10
BANDS = ((20, "20 and over"), (15, "15–19"), (10, "10–14"), (5, "5–9"), (0, "0–4"))
RateKey = tuple[object, ...]  # period, vessel, component, defect, agent, kind of space


class RateRow(NamedTuple):
    findings: int
    unit_years: float
    per_100_unit_years: float | None
    low: float | None
    high: float | None
    is_rated: bool
    reports: int
    repeat_share: float | None
    closed: int
    days_to_close_median: float | None


class Report(NamedTuple):
    """A row of finding, and what it is worth."""

    row: Row
    is_new: bool  # no earlier report of the defect was open on its day
    is_repeat: bool  # new, and the unit had this defect before


class CorrosionRow(NamedTuple):
    units: int
    units_corroded: int
    share: float
    low: float
    high: float
    worst_ri1: int
    worst_ri2: int
    worst_ri3: int
    worst_ri4: int
    worst_ri5: int
    worst_ungraded: int


def rate_defects(fleet: Fleet) -> dict[RateKey, RateRow]:
    """Totals for whatever was under observation; a kind of defect only where it was reported."""
    exposure = count_exposure(fleet)
    reports: dict[RateKey, list[Report]] = defaultdict(list)
    for report, stay in list_reports(fleet):
        row = report.row
        for period in list_periods(row["found_on"], fleet.as_of):
            for place in list_places(row["imo_number"], stay):
                for kind in list_kinds(row, place):
                    reports[period, place[0], *kind, *place[1:]].append(report)
    keys = {*reports, *((period, imo, ALL, ALL, agent, space) for period, imo, agent, space in exposure)}
    return {key: rate_one(reports[key], exposure[key[0], key[1], key[4], key[5]], fleet.as_of) for key in keys}


def list_reports(fleet: Fleet) -> list[tuple[Report, Row]]:
    """Each finding to as_of that counts, judged, with the stay to which it belongs."""
    began = find_first_looks(fleet)
    placed = [(row, find_stay_reported_on(fleet, began, row)) for row in fleet.finding if row["found_on"] <= fleet.as_of]
    return list(judge_reports([(row, stay) for row, stay in placed if stay is not None]))


def rate_one(reports: list[Report], unit_days: int, as_of: date) -> RateRow:
    new = [report for report in reports if report.is_new]
    closed = [r.row for r in new if r.row["closed_on"] and r.row["closed_on"] <= as_of]
    days = [(row["closed_on"] - row["found_on"]).days for row in closed]
    unit_years = unit_days / DAYS_PER_YEAR
    low, high = limit_count(len(new))
    per_100 = 100 / unit_years if unit_days else None
    return RateRow(
        findings=len(new),
        unit_years=unit_years,
        per_100_unit_years=per_100 and len(new) * per_100,
        low=per_100 and low * per_100,
        high=per_100 and high * per_100,
        is_rated=len(new) >= FEWEST_TO_RATE and unit_days > 0,
        reports=len(reports),
        repeat_share=sum(report.is_repeat for report in new) / len(new) if new else None,
        closed=len(closed),
        days_to_close_median=float(statistics.median(days)) if days else None,
    )


def limit_count(events: int) -> tuple[float, float]:
    """Garwood's exact 95 % limits of a Poisson count."""
    low = stats.chi2.ppf(0.025, 2 * events) / 2 if events else 0.0
    return float(low), float(stats.chi2.ppf(0.975, 2 * events + 2) / 2)


def list_periods(day: date, as_of: date) -> Iterator[str]:
    """CHOICE: the last 12 months are [D + 1 - 12 months, D + 1), the half-open form of all stretches of days."""
    yield "all"
    yield str(day.year)
    if day >= as_of + timedelta(days=1) - relativedelta(months=12):
        yield "last 12 months"


def list_places(imo_number: object, stay: Row) -> Iterator[tuple[object, object, object]]:
    """(vessel, agent, space): a vessel, the fleet, an agent in the fleet, a kind of space in the fleet."""
    yield imo_number, ALL, ALL
    yield FLEET, ALL, ALL
    yield FLEET, stay["agent"] or NOT_STATED, ALL
    yield FLEET, ALL, stay["space_category"] or NOT_STATED


def list_kinds(finding: Row, place: tuple[object, object, object]) -> Iterator[tuple[object, object]]:
    """(component, defect): all; in the fleet each of them and both, on a vessel both."""
    yield ALL, ALL
    if place[1:] == (ALL, ALL):
        yield finding["component"], finding["defect"]
        if place[0] == FLEET:
            yield finding["component"], ALL
            yield ALL, finding["defect"]


def list_looks(fleet: Fleet) -> Iterator[tuple[object, object, date]]:
    """(unit, vessel, day) of every look: an inspection that saw the unit, a service, a finding."""
    for row in fleet.inspection:
        if row["outcome"] not in ("not_found", "no_access"):
            yield row["unit_id"], row["imo_number"], row["inspected_on"]
    yield from ((row["unit_id"], row["imo_number"], row["serviced_on"]) for row in fleet.service)
    yield from ((row["unit_id"], row["imo_number"], row["found_on"]) for row in fleet.finding)


def find_last_looks(fleet: Fleet) -> dict[object, date]:
    looks: dict[object, date] = {}
    for unit_id, _, day in list_looks(fleet):
        if day <= fleet.as_of:
            looks[unit_id] = max(day, looks.get(unit_id, day))
    return looks


def find_first_looks(fleet: Fleet) -> dict[object, date]:
    """CHOICE: nothing is under observation on a vessel before its first look at anything."""
    looks: dict[object, date] = {}
    for _, imo_number, day in list_looks(fleet):
        looks[imo_number] = min(day, looks.get(imo_number, day))
    return looks


def count_exposure(fleet: Fleet) -> Counter[tuple[object, ...]]:
    """(period, vessel, agent, space) -> days on which a unit counted, from the vessel's first look to the unit's last."""
    looks, began = find_last_looks(fleet), find_first_looks(fleet)
    vessels = {vessel["imo_number"]: vessel for vessel in fleet.vessel}
    days: Counter[tuple[object, ...]] = Counter()
    stays: dict[tuple[object, object], list[Row]] = defaultdict(list)
    for stay in fleet.unit:
        if stay["unit_id"] in looks and find_filled(stay, ("in_service_on", "made_on")):
            stays[stay["imo_number"], stay["unit_id"]].append(stay)
    for (imo_number, unit_id), found in stays.items():
        first = min(find_filled(stay, ("in_service_on", "made_on")) for stay in found)
        if imo_number not in began:
            continue
        for day in list_days(max(first, began[imo_number]), looks[unit_id]):
            counted = [stay for stay in found if is_counted(stay, day)]
            if counted and is_sailing(vessels[imo_number], day):
                for period in list_periods(day, fleet.as_of):
                    for place in list_places(imo_number, pick_latest(counted)):
                        days[period, *place] += 1
    return days


def judge_reports(placed: list[tuple[Row, Row]]) -> Iterator[tuple[Report, Row]]:
    """Whether each counted report is a defect of its own: none is while one told before it is still open.

    A report that is none of its own keeps the defect open, too. On the day one was closed it is no longer open.
    """
    by_defect: dict[tuple[object, ...], list[tuple[Row, Row]]] = defaultdict(list)
    for row, stay in placed:
        by_defect[row["unit_id"], row["component"], row["defect"]].append((row, stay))
    for found in by_defect.values():
        found.sort(key=lambda pair: pair[0]["found_on"])
        for n, (row, stay) in enumerate(found):
            closed_on = [earlier["closed_on"] for earlier, _ in found[:n]]
            is_new = all(day is not None and day <= row["found_on"] for day in closed_on)
            yield Report(row, is_new, is_new and n > 0), stay


def find_stay_reported_on(fleet: Fleet, began: dict[object, date], finding: Row) -> Row | None:
    """The stay to which a finding belongs: that of the last day, up to the day found, on which the unit counted on the
    vessel that the finding names. CHOICE: it must not have ended before the day found, but may end on it, and the unit may
    be ashore: a defect that condemns a unit, or that a workshop finds, is the fleet's own."""
    imo_number, unit_id, found_on = finding["imo_number"], finding["unit_id"], finding["found_on"]
    vessel = next(vessel for vessel in fleet.vessel if vessel["imo_number"] == imo_number)
    stays = [stay for stay in fleet.unit if (stay["imo_number"], stay["unit_id"]) == (imo_number, unit_id)]
    for day in reversed(list(list_days(began[imo_number], found_on))):
        counted = [stay for stay in stays if is_counted(stay, day)]
        if counted and is_sailing(vessel, day):
            stay = pick_latest(counted)
            if stay.get("removed_on") is None or found_on <= stay["removed_on"]:
                return stay
    return None


def share_corroded(fleet: Fleet) -> dict[tuple[object, ...], CorrosionRow]:
    """(band, agent, lining, space) -> units in service and ever looked at, and those with corrosion ever found.

    A unit that two vessels claim is one unit, and a unit of unknown age is in no band.
    """
    looks = find_last_looks(fleet)
    stays: dict[object, list[Row]] = defaultdict(list)
    for _, unit_id, stay in sorted(list_counted(fleet, fleet.as_of), key=lambda found: found[0]):
        if unit_id in looks and stay["made_on"] is not None:
            stays[unit_id].append(stay)
    grades: dict[tuple[object, ...], list[object]] = defaultdict(list)
    for unit_id, found in stays.items():
        stay = pick_latest(found)
        band = name_band(stay["made_on"], fleet.as_of)
        grade = find_worst_grade(fleet, unit_id)
        for kind in list_corrosion_kinds(stay):
            grades[band, *kind].append(grade)
    return {key: share_one(found) for key, found in grades.items()}


def list_corrosion_kinds(stay: Row) -> Iterator[tuple[object, object, object]]:
    yield ALL, ALL, ALL
    yield stay["agent"] or NOT_STATED, ALL, ALL
    yield ALL, stay["lining"] or NOT_STATED, ALL
    yield ALL, ALL, stay["space_category"] or NOT_STATED


def name_band(made_on: date, as_of: date) -> str:
    """By completed years: a unit made on this day five years ago is five."""
    years = relativedelta(as_of, made_on).years
    return next(name for least, name in BANDS if years >= least)


def find_worst_grade(fleet: Fleet, unit_id: object) -> str | None:
    """None: no corrosion found; '' where found and never graded."""
    found = [
        row["rust_grade"] or ""
        for row in fleet.finding
        if row["unit_id"] == unit_id and row["defect"] == "corrosion" and row["found_on"] <= fleet.as_of
    ]
    return max(found, default=None)


def share_one(grades: list[object]) -> CorrosionRow:
    corroded = [grade for grade in grades if grade is not None]
    # CHOICE: Ri0 says that nothing has rusted, so it grades no corrosion: with the ungraded
    worst = (*map(corroded.count, GRADES), sum(grade not in GRADES for grade in corroded))
    limits = stats.binomtest(len(corroded), len(grades)).proportion_ci(0.95, method="wilson")
    share = len(corroded) / len(grades)
    return CorrosionRow(len(grades), len(corroded), share, float(limits.low), float(limits.high), *worst)
