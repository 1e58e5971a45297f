"""Lateness the slow way: every vessel, unit and duty is judged on every single day. No SQL, no spans.

In: a Fleet (canonical rows, one per key) and the duties as data. Out: `Lateness`, the month rows of
figure.overdue_monthly and the rows of figure.overdue_now. Written from the definitions alone, by someone who had
not read pipeline/duties or pipeline/figures, so that an agreement of the two says something. A choice that the
definitions leave open carries the mark CHOICE.
"""

import calendar
from collections import defaultdict
from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from functools import cache
from typing import NamedTuple

from dateutil.relativedelta import relativedelta

from tests.property.canonical import Fleet, Row
from tests.property.lateness import ANY_DUTY, BASELINE, FLEET, Duty, Lateness, MonthKey, MonthRow, NowRow

SATISFACTORY = "satisfactory"


class Judgement(NamedTuple):
    """One unit or group, one duty, one day."""

    imo_number: str
    duty: str
    unit_ids: tuple[str, ...]
    state: str  # 'in time', 'overdue', 'unknown'
    basis_on: date | None
    due_on: date | None


def measure_lateness(fleet: Fleet, duties: Sequence[Duty] = BASELINE) -> Lateness:
    """Both figures of a fleet on fleet.as_of."""
    book = Book(fleet, duties)
    today = list(book.judge_day(fleet.as_of))
    now = sorted(
        NowRow(j.imo_number, j.duty, j.unit_ids, j.basis_on, j.due_on, (fleet.as_of - j.due_on).days)
        for j in today
        if j.state == "overdue" and j.duty != ANY_DUTY
    )
    return Lateness(monthly=sum_months(book, fleet.as_of), now=tuple(now))


def sum_months(book: "Book", as_of: date) -> dict[MonthKey, MonthRow]:
    """Every day of every month to as_of, one after the other; no row where nothing was counted all month."""
    monthly = {}
    month_start = book.find_first_day(as_of).replace(day=1)
    while month_start <= as_of:
        days_in_month = calendar.monthrange(month_start.year, month_start.month)[1]
        month_end = min(month_start.replace(day=days_in_month), as_of)
        days_late: dict[tuple[str, str], int] = defaultdict(int)
        days_counted: dict[tuple[str, str], int] = defaultdict(int)
        last_day: dict[tuple[str, str], list[str]] = defaultdict(list)
        for day in list_days(month_start, month_end):
            for judged in book.judge_day(day):
                for key in ((judged.imo_number, judged.duty), (FLEET, judged.duty)):
                    days_counted[key] += 1
                    days_late[key] += judged.state == "overdue"
                    if day == month_end:
                        last_day[key].append(judged.state)
        for key, unit_days in days_counted.items():
            states = last_day[key]
            counts = len(states), states.count("overdue"), states.count("unknown")
            monthly[(month_end, *key)] = MonthRow(*counts, days_late[key], unit_days)
        month_start += relativedelta(months=1)
    return monthly


def list_days(first: date, last: date) -> Iterator[date]:
    return (first + timedelta(days=n) for n in range((last - first).days + 1))


@cache
def add_months(day: date, months: int) -> date:
    return day + relativedelta(months=months)


def is_within(day: date, first: object, end: object) -> bool:
    """first <= day < end, where an empty end stays open and an empty first is no period at all."""
    return first is not None and first <= day and (end is None or day < end)


def find_filled(row: Row, columns: Sequence[str]) -> date | None:
    return next((row[column] for column in columns if row.get(column) is not None), None)


def name_group(stay: Row) -> tuple[object, ...]:
    """Vessel, agent, form, charge, maker, model, year of manufacture; empty equals empty."""
    made_on = stay.get("made_on")
    columns = ("imo_number", "agent", "form", "charge_l", "charge_kg", "maker", "model")
    return (*(stay.get(column) for column in columns), made_on.year if made_on else None)


class Book:
    """The rows of a fleet, put where a day's judgement finds them."""

    def __init__(self, fleet: Fleet, duties: Sequence[Duty]):
        self.vessels = list(fleet.vessel)
        self.duties = duties
        self.stays: dict[str, list[Row]] = defaultdict(list)
        self.members: dict[tuple[object, ...], list[Row]] = defaultdict(list)
        for stay in fleet.unit:
            self.stays[stay["imo_number"]].append(stay)
            self.members[name_group(stay)].append(stay)
        self.event_days = [row["inspected_on"] for row in fleet.inspection]
        self.event_days += [row["serviced_on"] for row in fleet.service]
        self.calls: dict[str, list[date]] = defaultdict(list)
        for row in fleet.finding:
            if calls_for_recharge(row):
                self.calls[row["unit_id"]].append(row["found_on"])
        self.done: dict[tuple[Duty, str], list[date]] = defaultdict(list)
        for duty in duties:
            for row in fleet.inspection:
                if duty.by_inspection and row.get("outcome") == SATISFACTORY:
                    self.done[duty, row["unit_id"]].append(row["inspected_on"])
            for row in fleet.service:
                if satisfies(duty, row):
                    self.done[duty, row["unit_id"]].append(row["serviced_on"])
            for row in fleet.unit:
                if duty.renewed_on and row.get(duty.renewed_on):
                    self.done[duty, row["unit_id"]].append(row[duty.renewed_on])

    def find_first_day(self, as_of: date) -> date:
        """Of the earliest record, whatever its outcome; as_of where there is none on or before it."""
        return min([day for day in self.event_days if day <= as_of], default=as_of)

    def judge_day(self, day: date) -> Iterator[Judgement]:
        for vessel in self.vessels:
            if not is_sailing(vessel, day):
                continue
            counted = [stay for stay in self.stays[vessel["imo_number"]] if is_counted(stay, day)]
            yield from self.judge_units(vessel["imo_number"], counted, day)
            yield from self.judge_groups(vessel["imo_number"], counted, day)

    def judge_units(self, imo_number: str, counted: list[Row], day: date) -> Iterator[Judgement]:
        by_unit: dict[str, list[Row]] = defaultdict(list)
        for stay in counted:  # overlapping stays of one unit on one vessel are one unit
            by_unit[stay["unit_id"]].append(stay)
        for unit_id, stays in by_unit.items():
            judged = []
            for duty in (duty for duty in self.duties if duty.counts == "unit"):
                if duty.is_called_for:
                    judged.append((duty, self.judge_call(imo_number, duty, unit_id, day)))
                    continue
                asked = [stay for stay in stays if duty.expelled_by in (None, stay.get("expelled_by"))]
                if not asked:
                    continue
                last_done = find_last(self.done[duty, unit_id], day)
                first_bases = [find_filled(stay, duty.first_basis) for stay in asked]
                judged.append((duty, judge(imo_number, duty, (unit_id,), last_done, first_bases, day)))
            yield from pick_worst([judgement for _, judgement in judged])
            states = {judgement.state for duty, judgement in judged if duty.in_any_duty}
            state = next((s for s in ("overdue", "unknown") if s in states), "in time")
            yield Judgement(imo_number, ANY_DUTY, (unit_id,), state, None, None)

    def judge_call(self, imo_number: str, duty: Duty, unit_id: str, day: date) -> Judgement:
        """Overdue from the day after the first finding that no work has answered by `day`; work of the same day answers it."""
        done = [when for when in self.done[duty, unit_id] if when <= day]
        called = [when for when in self.calls[unit_id] if when <= day and not any(when <= answer for answer in done)]
        if not called:
            return Judgement(imo_number, duty.name, (unit_id,), "in time", None, None)
        state = "overdue" if min(called) < day else "in time"
        return Judgement(imo_number, duty.name, (unit_id,), state, min(called), min(called))

    def judge_groups(self, imo_number: str, counted: list[Row], day: date) -> Iterator[Judgement]:
        for duty in (duty for duty in self.duties if duty.counts == "group"):
            for group in {name_group(stay) for stay in counted if stay.get("form") == duty.form}:
                # in the group aboard this vessel by then: spares and units that left included, units still to come not
                joined = self.list_joined(group, day)
                unit_ids = tuple(sorted(joined))
                days_done = [done for unit_id in unit_ids for done in self.done[duty, unit_id]]
                made_on = [find_filled(stay, duty.first_basis) for stay in self.members[group] if begins_on(stay) <= day]
                first_bases = [basis for basis in made_on if basis]
                yield judge(imo_number, duty, unit_ids, find_last(days_done, day), first_bases, day)

    def list_joined(self, group: tuple[object, ...], day: date) -> dict[str, date]:
        """The units that have joined the group by the day, and since when."""
        joined: dict[str, date] = {}
        for stay in self.members[group]:
            since = begins_on(stay)
            if since <= day:
                joined[stay["unit_id"]] = min(since, joined.get(stay["unit_id"], since))
        return joined


def begins_on(stay: Row) -> date:
    """The first day of the stay; where nobody knows it, it was always there."""
    return find_filled(stay, ("in_service_on", "made_on")) or date.min


def pick_worst(judged: list[Judgement]) -> Iterator[Judgement]:
    """One judgement of a duty: where several rules ask it, overdue by one is overdue, of two such the longer overdue."""
    ranks = {"overdue": 0, "unknown": 1, "in time": 2}
    for name in dict.fromkeys(judgement.duty for judgement in judged):
        alike = [judgement for judgement in judged if judgement.duty == name]
        yield min(alike, key=lambda j: (ranks[j.state], j.due_on or date.max))


def satisfies(duty: Duty, service: Row) -> bool:
    if service.get("outcome") != SATISFACTORY:
        return False
    if duty.by_examination and service.get("is_examination"):
        return True
    is_part = service["kind"] != "pressure_test" or service.get("tested_part") in duty.parts
    return service["kind"] in duty.by_kinds and is_part


def calls_for_recharge(finding: Row) -> bool:
    """The unit was found discharged: no charge, or its mass or pressure so low that it was called unfit."""
    if finding["component"] != "charge":
        return False
    return finding["defect"] == "missing" or (
        finding["defect"] in ("low_mass", "low_pressure") and finding.get("severity") == "unfit"
    )


def is_sailing(vessel: Row, day: date) -> bool:
    """In the fleet (an empty joined_on: always) and not laid up."""
    joined_on, left_on = vessel.get("joined_on"), vessel.get("left_on")
    in_fleet = (joined_on is None or joined_on <= day) and (left_on is None or day < left_on)
    return in_fleet and not is_within(day, vessel.get("laid_up_from"), vessel.get("laid_up_to"))


def is_counted(stay: Row, day: date) -> bool:
    aboard = is_within(day, find_filled(stay, ("in_service_on", "made_on")), stay.get("removed_on"))
    landed = is_within(day, stay.get("landed_from"), stay.get("landed_to"))
    return aboard and not landed and not stay.get("is_spare")


def find_last(days: list[date], day: date) -> date | None:
    return max((done for done in days if done <= day), default=None)


def judge(
    imo_number: str,
    duty: Duty,
    unit_ids: tuple[str, ...],
    last_done: date | None,
    first_bases: list[date | None],
    day: date,
) -> Judgement:
    """The latest satisfying event, else the earliest first basis.

    Earliest, because two stays make a unit overdue where either does. CHOICE: where one of two overlapping stays has a
    first basis and the other none, the unit is 'unknown' unless it is overdue by the one: unknown is never 'in time'.
    """
    bases = [last_done] if last_done else [basis for basis in first_bases if basis]
    is_doubtful = last_done is None and None in first_bases
    if not bases:
        return Judgement(imo_number, duty.name, unit_ids, "unknown", None, None)
    basis_on = min(bases)
    due_on = add_months(basis_on, duty.interval_months)
    if due_on < day:
        return Judgement(imo_number, duty.name, unit_ids, "overdue", basis_on, due_on)
    if is_doubtful:
        return Judgement(imo_number, duty.name, unit_ids, "unknown", None, None)
    return Judgement(imo_number, duty.name, unit_ids, "in time", basis_on, due_on)
