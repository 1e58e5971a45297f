"""What falls due and is done in time, the slow way: every vessel, unit and duty on every single day. No SQL, no spans.

In: a Fleet and the duties as data. Out: counts by (month_end, vessel, duty), and the items that became overdue with the days that
each waited. Written from the definitions: a due date falls due on a day if the unit counts on it, and if what it runs from was not
answered by the day the stay began; it is in time if the next work is done by it.
"""

from __future__ import annotations

import calendar
from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from typing import NamedTuple

from tests.property.canonical import Fleet, Row
from tests.property.lateness import ANY_DUTY, BASELINE, FLEET, Duty
from tests.property.reference_lateness import (
    Book,
    add_months,
    begins_on,
    find_filled,
    is_counted,
    is_sailing,
    list_days,
    measure_lateness,
    name_group,
)

START = ("in_service_on", "made_on")


class Fallen(NamedTuple):
    """One service on its due day."""

    imo_number: str
    holder: object
    duty: str
    due_on: date
    done_on: date | None
    stopped_on: date  # the first day from which it counts no more


def find_next(days: list[date], day: date) -> date | None:
    """The first of sorted days after this one."""
    place = bisect_right(days, day)
    return days[place] if place < len(days) else None


def list_bases(firsts: list[date], done: list[date], began_on: date) -> Iterator[tuple[date, date | None]]:
    """What a due date runs from, and the work that ended it; what had ended by the day the stay began asks nothing of it."""
    for first in firsts:
        answer = done[0] if done else None
        if answer is None or answer > began_on:
            yield first, answer
    for basis in done:
        answer = find_next(done, basis)
        if answer is None or answer > began_on:
            yield basis, answer


def list_oldest(members: Sequence[Row], columns: Sequence[str]) -> Iterator[tuple[date, date, date]]:
    """The oldest date of manufacture in a group, and the days [since, until) on which it was the oldest of those that had joined."""
    reigns: list[tuple[date, date]] = []
    for since in sorted({begins_on(stay) for stay in members}):
        made_on = [made for stay in members if begins_on(stay) <= since and (made := find_filled(stay, columns))]
        if made_on and (not reigns or min(made_on) < reigns[-1][0]):
            reigns.append((min(made_on), since))
    for (oldest, since), (_, until) in zip(reigns, [*reigns, (date.max, date.max)][1:], strict=True):
        yield oldest, since, until


class OnTime:
    """The services of a fleet that fell due, found day by day."""

    def __init__(self, fleet: Fleet, duties: Sequence[Duty] = BASELINE):
        self.book, self.as_of, self.duties = Book(fleet, duties), fleet.as_of, duties
        self.done = {key: sorted(set(days)) for key, days in self.book.done.items()}
        first = self.book.find_first_day(fleet.as_of).replace(day=1)
        self.fallen: dict[tuple, list[Fallen]] = defaultdict(list)
        for vessel in fleet.vessel:
            for stay in self.book.stays[vessel["imo_number"]]:
                if find_filled(stay, START) and not stay.get("is_spare"):
                    self.watch_stay(vessel, stay, first)

    def watch_stay(self, vessel: Row, stay: Row, first: date) -> None:
        """Each day on which the stay counts, against all its due dates."""
        due = list(self.list_due(stay))
        counted = [day for day in list_days(first, self.as_of) if is_sailing(vessel, day) and is_counted(stay, day)]
        # a group goes on as long as one of its units counts
        group = [
            other for other in self.book.members[name_group(stay)] if find_filled(other, START) and not other.get("is_spare")
        ]
        lasts = [self.find_last_day(vessel, [stay], first), self.find_last_day(vessel, group, first)]
        for day in counted:
            for holder, duty, due_on, done_on in due:
                if due_on == day < self.as_of:
                    last = lasts[isinstance(holder, tuple)]
                    found = Fallen(vessel["imo_number"], holder, duty, due_on, done_on, last + timedelta(days=1))
                    self.fallen[vessel["imo_number"], holder, duty, due_on].append(found)

    def find_last_day(self, vessel: Row, stays: list[Row], first: date) -> date:
        """The last day on which one of them counts, up to two years after the day of the report."""
        days = list(list_days(first, self.as_of + timedelta(days=730)))
        return next(
            (day for day in reversed(days) if is_sailing(vessel, day) and any(is_counted(stay, day) for stay in stays)), first
        )

    def list_due(self, stay: Row) -> Iterator[tuple[object, str, date, date | None]]:
        unit_id, began_on = stay["unit_id"], find_filled(stay, START)
        assert began_on is not None
        for duty in self.duties:
            done = self.done.get((duty, unit_id), [])
            if duty.is_called_for:
                for found_on in set(self.book.calls[unit_id]):
                    answer = next((day for day in done if day >= found_on), None)
                    is_aboard = stay.get("removed_on") is None or found_on < stay["removed_on"]
                    if is_aboard and (answer is None or answer > began_on):
                        yield unit_id, duty.name, found_on, answer
            elif duty.counts == "unit" and duty.expelled_by in (None, stay.get("expelled_by")):
                first = find_filled(stay, duty.first_basis)
                for basis, answer in list_bases([first] if first else [], done, began_on):
                    yield unit_id, duty.name, add_months(basis, duty.interval_months), answer
            elif duty.counts == "group" and stay.get("form") == duty.form:
                yield from self.list_group_due(duty, name_group(stay))

    def list_group_due(self, duty: Duty, group: tuple) -> Iterator[tuple[object, str, date, date | None]]:
        """A group's history is that of every unit aboard from the day it joined; it begins with the first stay of any."""
        members = self.book.members[group]
        joined = self.book.list_joined(group, date.max)
        brought = {(max(day, since), day) for unit_id, since in joined.items() for day in self.done.get((duty, unit_id), [])}
        done: list[tuple[date, date]] = []  # the day of the work, and that from which it counts for the group
        for counts_on, day in sorted(brought, key=lambda event: (event[0], -event[1].toordinal())):
            if not done or day > done[-1][0]:
                done.append((day, counts_on))
        began_on = min(start for stay in members if (start := find_filled(stay, START)))
        answers = [counts_on for _, counts_on in done]
        for (basis, counts_on), answer in zip(done, [*answers, None][1:], strict=True):
            due_on = add_months(basis, duty.interval_months)
            if (answer is None or answer > began_on) and (basis == counts_on or counts_on <= due_on):
                yield group, duty.name, due_on, answer
        for made_on, since, until in list_oldest(members, duty.first_basis):
            due_on, answer = add_months(made_on, duty.interval_months), answers[0] if answers else None
            if since <= due_on < until and (answer is None or answer > max(since, began_on)):
                yield group, duty.name, due_on, answer

    def judge(self) -> list[tuple[Fallen, bool]]:
        """Each service once, the latest work of several: late if any is."""
        judged = []
        for found in self.fallen.values():
            latest = max(found, key=lambda f: f.done_on or date.max)
            stopped_on = max(f.stopped_on for f in found)
            judged.append(
                (latest._replace(stopped_on=stopped_on), latest.done_on is not None and latest.done_on <= latest.due_on)
            )
        return judged


def end_month(day: date, as_of: date) -> date:
    return min(day.replace(day=calendar.monthrange(day.year, day.month)[1]), as_of)


def list_keys(imo_number: str, duty: str) -> list[tuple[str, str]]:
    """A row of a vessel and duty adds to these."""
    in_any = {duty.name for duty in BASELINE if duty.in_any_duty}
    return [(imo, name) for imo in (imo_number, FLEET) for name in ([duty, ANY_DUTY] if duty in in_any else [duty])]


def count_on_time(fleet: Fleet) -> dict[tuple, tuple[int, int, int]]:
    """(month_end, vessel, duty): fell due, done in time, unknown on the last day of the month."""
    counts: dict[tuple, list[int]] = defaultdict(lambda: [0, 0, 0])
    for fallen, is_in_time in OnTime(fleet).judge():
        for key in list_keys(fallen.imo_number, fallen.duty):
            cell = counts[end_month(fallen.due_on, fleet.as_of), *key]
            cell[0] += 1
            cell[1] += is_in_time
    for (month_end, imo, duty), row in measure_lateness(fleet).monthly.items():
        if imo != FLEET and duty != ANY_DUTY and row.unknown:
            for key in list_keys(imo, duty):
                counts[month_end, *key][2] += row.unknown
    return {key: tuple(cell) for key, cell in counts.items()}


def count_overdue(fleet: Fleet) -> dict[tuple, tuple[int, int, int, int]]:
    """(vessel, duty): items that became overdue, still open, stopped before they were done, and the days that all waited."""
    counts: dict[tuple, list[int]] = defaultdict(lambda: [0, 0, 0, 0])
    for fallen, is_in_time in OnTime(fleet).judge():
        if is_in_time:
            continue
        day, waited = fallen.due_on, 0
        while day < min(fleet.as_of, fallen.stopped_on) and day != fallen.done_on:
            day, waited = day + timedelta(days=1), waited + 1
        is_stopped = day == fallen.stopped_on
        is_open = not is_stopped and day != fallen.done_on
        for key in list_keys(fallen.imo_number, fallen.duty):
            for place, amount in enumerate((1, is_open, is_stopped, waited)):
                counts[key][place] += amount
    return {key: tuple(cell) for key, cell in counts.items()}


def split_runs(days: list[date], gap: int) -> Iterator[list[date]]:
    """Sorted due dates, wherever more than `gap` days lie between two; a run of more than two gaps, and than 30 days, in equal parts."""
    runs: list[list[date]] = []
    for day in days:
        if runs and (day - runs[-1][-1]).days <= gap:
            runs[-1].append(day)
        else:
            runs.append([day])
    for run in runs:
        length = (run[-1] - run[0]).days + 1
        parts = -(-length // max(30, 2 * gap))
        for part in range(parts):
            mine = [day for day in run if (day - run[0]).days * parts // length == part]
            if mine:
                yield mine


def list_calls(fleet: Fleet) -> dict[tuple[str, str], dict[tuple, list[tuple[date, bool]]]]:
    """By vessel and duty, then by call: the due dates and whether each was done in time. A duty of the pace of a year or half of one
    makes calls of 45 days' gaps, a faster one of seven a month of its interval."""
    paces = {duty.name: min(45, max(7, 7 * duty.interval_months)) for duty in BASELINE}
    items = defaultdict(list)
    for fallen, is_in_time in OnTime(fleet).judge():
        for imo, duty in list_keys(fallen.imo_number, fallen.duty):
            if imo != FLEET:
                items[imo, duty, paces[fallen.duty]].append((fallen.due_on, is_in_time))
    calls: dict = defaultdict(lambda: defaultdict(list))
    for (imo, duty, gap), mine in items.items():
        for run in split_runs(sorted({day for day, _ in mine}), gap):
            name = run[0].replace(day=1) if duty == ANY_DUTY else run[0]
            calls[imo, duty][name] += [item for item in mine if run[0] <= item[0] <= run[-1]]
    return calls
