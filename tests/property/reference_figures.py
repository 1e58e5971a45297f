"""The figures of one day the slow way: how every unit, duty, agent and vessel stands on fleet.as_of. No SQL.

In: a Fleet (canonical rows, one per key). Out: what figure.duty_now, due_ahead, unit_now, agent_mix and freshness must
hold, as dicts from a row's key to its values. First written from the definitions alone, before its author
read the SQL; the day's judgement is reference_lateness's. What the definitions leave open carries the mark CHOICE: there the
SQL's way was taken afterwards where nothing spoke against it, so on these points an agreement proves less.
"""

from collections import Counter, defaultdict
from collections.abc import Iterator
from datetime import date, timedelta
from typing import NamedTuple

from tests.property.canonical import Fleet, Row
from tests.property.lateness import ANY_DUTY, BASELINE, FLEET
from tests.property.reference_lateness import Book, Judgement, find_filled, is_counted, is_sailing, is_within

DAYS_PER_YEAR = 365.25
DAYS_AHEAD = 365
UNIT_DUTIES = {duty.name for duty in BASELINE if duty.counts == "unit"}


class UnitRow(NamedTuple):
    """A stay as of the day; its key is (imo_number, unit_id, in_service_on)."""

    counted: str
    age_years: float | None
    last_inspected_on: date | None
    last_serviced_on: date | None
    open_findings: int
    overdue_duties: int


class MixRow(NamedTuple):
    """The key is (imo_number, agent, agent_detail, foam_kind)."""

    units: int
    total_charge_l: float | None
    total_charge_kg: float | None
    obsolete_units: int


def judge_today(fleet: Fleet) -> list[Judgement]:
    return [j for j in Book(fleet, BASELINE).judge_day(fleet.as_of) if j.duty != ANY_DUTY]


def list_duties_now(fleet: Fleet) -> dict[tuple[object, ...], tuple[object, ...]]:
    """(vessel, duty, units) -> state, basis, due day, days overdue; no days where it is not overdue.

    A unit that the register tells in two ways may be all there is of two sample groups: then both, in order.
    """
    rows: dict[tuple[object, ...], list[tuple[object, ...]]] = defaultdict(list)
    for j in judge_today(fleet):
        if j.duty == "recharge_after_use" and not j.basis_on:
            continue  # nothing calls for it
        days = (fleet.as_of - j.due_on).days if j.state == "overdue" else None
        rows[j.imo_number, j.duty, j.unit_ids].append((j.state, j.basis_on, j.due_on, days))
    return {key: tuple(sorted(found, key=str)) for key, found in rows.items()}


def count_due_ahead(fleet: Fleet) -> dict[tuple[object, ...], tuple[int]]:
    """Due on a day from as_of to 365 days after it; the date that stands now, not those that follow it."""
    due: Counter[tuple[object, ...]] = Counter()
    for j in judge_today(fleet):
        if j.due_on and 0 <= (j.due_on - fleet.as_of).days <= DAYS_AHEAD:
            monday = j.due_on - timedelta(days=j.due_on.isoweekday() - 1)
            due[j.imo_number, j.duty, monday] += 1
            due[FLEET, j.duty, monday] += 1
    return {key: (count,) for key, count in due.items()}


def is_in_fleet(vessel: Row, day: date) -> bool:
    return (vessel.get("joined_on") or day) <= day and (vessel.get("left_on") is None or day < vessel["left_on"])


def list_units_now(fleet: Fleet) -> dict[tuple[object, ...], UnitRow]:
    """Stays that last on as_of, on vessels of the fleet on that day."""
    vessels = {vessel["imo_number"]: vessel for vessel in fleet.vessel}
    late: Counter[tuple[object, ...]] = Counter()
    for j in judge_today(fleet):
        if j.state == "overdue" and j.duty in UNIT_DUTIES:
            late[j.imo_number, j.unit_ids[0]] += 1
    rows = {}
    for stay in fleet.unit:
        vessel = vessels[stay["imo_number"]]
        start = find_filled(stay, ("in_service_on", "made_on"))
        if not is_within(fleet.as_of, start, stay.get("removed_on")) or not is_in_fleet(vessel, fleet.as_of):
            continue
        unit_id, made_on = stay["unit_id"], stay["made_on"]
        rows[stay["imo_number"], unit_id, stay["in_service_on"]] = UnitRow(
            name_state(stay, vessel, fleet.as_of),
            (fleet.as_of - made_on).days / DAYS_PER_YEAR if made_on else None,
            find_last_day(list_seen(fleet), "inspected_on", fleet.as_of, unit_id=unit_id),
            find_last_day(fleet.service, "serviced_on", fleet.as_of, unit_id=unit_id),
            count_open(fleet, unit_id),
            # CHOICE: of the unit on this vessel, so a spare or landed stay shows those of one beside it that counts
            late[stay["imo_number"], unit_id],
        )
    return rows


def name_state(stay: Row, vessel: Row, day: date) -> str:
    """CHOICE: where several hold, the order in which the definition of unit_now names them."""
    if stay.get("is_spare"):
        return "spare"
    if is_within(day, stay.get("landed_from"), stay.get("landed_to")):
        return "ashore"
    return "in service" if is_sailing(vessel, day) else "laid up"


def list_seen(fleet: Fleet) -> list[Row]:
    """Inspections that saw the unit."""
    return [row for row in fleet.inspection if row["outcome"] not in ("not_found", "no_access")]


def find_last_day(rows: object, column: str, day: date, **where: object) -> date | None:
    """Whatever the outcome, and wherever it was."""
    days = [row[column] for row in rows if all(row[name] == value for name, value in where.items())]
    return max((found for found in days if found <= day), default=None)


def count_open(fleet: Fleet, unit_id: object) -> int:
    """Defects and not reports: one that was told again while open is open once (statistics.md A2)."""
    found = [row for row in fleet.finding if row["unit_id"] == unit_id and is_open(row, fleet.as_of)]
    return len({(row["component"], row["defect"]) for row in found})


def is_open(finding: Row, day: date) -> bool:
    """From the day found to the day before it was closed."""
    return finding["found_on"] <= day and (finding["closed_on"] is None or day < finding["closed_on"])


def list_counted(fleet: Fleet, day: date) -> Iterator[tuple[object, object, Row]]:
    """(vessel, unit, stay) of the units that count on a day, each once per vessel."""
    sailing = {vessel["imo_number"] for vessel in fleet.vessel if is_sailing(vessel, day)}
    stays: dict[tuple[object, object], list[Row]] = defaultdict(list)
    for stay in fleet.unit:
        if stay["imo_number"] in sailing and is_counted(stay, day):
            stays[stay["imo_number"], stay["unit_id"]].append(stay)
    yield from ((*key, pick_latest(found)) for key, found in stays.items())


def pick_latest(stays: list[Row]) -> Row:
    """CHOICE: of overlapping stays the one that began last tells what the unit is; of two, the one that says when."""
    return max(stays, key=lambda stay: (find_filled(stay, ("in_service_on", "made_on")), stay["in_service_on"] is not None))


def mix_agents(fleet: Fleet) -> dict[tuple[object, ...], MixRow]:
    """Units in service by vessel and kind of agent; none of a kind holds no charge rather than 0."""
    stays: dict[tuple[object, ...], list[Row]] = defaultdict(list)
    for imo_number, _, stay in list_counted(fleet, fleet.as_of):
        stays[imo_number, stay["agent"], stay["agent_detail"], stay["foam_kind"]].append(stay)
    return {
        key: MixRow(
            len(found),
            add_charges(found, "charge_l"),
            add_charges(found, "charge_kg"),
            sum(stay["foam_kind"] == "chemical" or stay["expelled_by"] == "reaction" for stay in found),
        )
        for key, found in stays.items()
    }


def add_charges(stays: list[Row], column: str) -> float | None:
    charges = [float(stay[column]) for stay in stays if stay.get(column) is not None]
    return sum(charges) if charges else None


def count_spares(fleet: Fleet) -> dict[tuple[object, object], tuple[int | None]]:
    """(vessel, agent) -> charges held by its last count on or before as_of; a count without a number tells none.

    CHOICE: the sizes counted on the last day on which the agent was counted; a size left out that day is no longer held.
    """
    counts: dict[tuple[object, object], list[Row]] = defaultdict(list)
    for row in fleet.spare:
        if row["counted_on"] <= fleet.as_of:
            counts[row["imo_number"], row["agent"]].append(row)
    held = {}
    for key, rows in counts.items():
        last = max(row["counted_on"] for row in rows)
        numbers = [row["spare_charges"] for row in rows if row["counted_on"] == last]
        known = [number for number in numbers if number is not None]
        held[key] = (sum(known) if known else None,)
    return held


def date_last_records(fleet: Fleet) -> dict[tuple[object], tuple[date | None, int | None]]:
    """Vessel -> its last inspection, service, finding or count of spares on or before as_of, and the days since."""
    rows = {}
    for imo_number in [vessel["imo_number"] for vessel in fleet.vessel]:
        days = [
            find_last_day(records, column, fleet.as_of, imo_number=imo_number)
            for records, column in (
                (fleet.inspection, "inspected_on"),
                (fleet.service, "serviced_on"),
                (fleet.finding, "found_on"),
                (fleet.spare, "counted_on"),
            )
        ]
        last = max((day for day in days if day), default=None)
        rows[(imo_number,)] = (last, (fleet.as_of - last).days if last else None)
    return rows
