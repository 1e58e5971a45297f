"""The lists of a vessel's sheet before they are cut to the paper: what is overdue, due, against units, found and short.

In: `VesselData`. Out: `Listing` values, whose rows stand in the order in which they matter.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from dashboards import words
from dashboards.blocks import Context, Table, name_columns
from dashboards.pages import due_rows, sheet_rows
from dashboards.pages.due_items import Item
from dashboards.pages.vessel_data import Row, VesselData
from dashboards.pages.vessel_lists import AHEAD_DAYS

STANDS = {"condemn": "to condemn", "unfit": "unfit", "placement": "wrong place"}
WORST = ("unfit", "major")


@dataclass(frozen=True)
class Listing:
    """A table to be cut: `letters` says for each column how many stand on a line of paper, `whole` what all of it is."""

    name: str
    whole: str
    columns: str
    letters: tuple[int | None, ...]
    rows: Sequence[tuple]
    empty: str

    def count_lines(self, most: int) -> int:
        """Lines that it takes, `most` where it would take more."""
        return sheet_rows.count_lines(self.rows, self.letters, most)

    def cut(self, lines: int) -> Table:
        """The table of so many lines, which says how many rows are left out."""
        rows = sheet_rows.fit_rows(self.rows, self.letters, lines)
        left = len(self.rows) - len(rows)
        said = f"{self.whole}; and {words.say_count(left, 'more line')} on the vessel's page" if left else self.whole
        return Table(self.name, said, name_columns(self.columns), rows, empty=self.empty, has_twin=False)


def say_position(item: Item) -> str:
    """Where it stands; of a sample group, where its units stand."""
    places = [m["position_no"] for m in item.members if m["position_no"]] if item.is_group else [item.position_no or ""]
    return due_rows.say_positions(places)


def list_late(data: VesselData, context: Context) -> Listing:
    """What is overdue, longest first; what one unit is late on since the same day stands together."""
    late = sorted(
        (i for i in data.items if i.state == "overdue"), key=lambda i: (i.due_on, i.position_no or "", i.unit_id, i.duty)
    )
    units: dict[tuple, list] = {}
    for item in late:
        units.setdefault((item.due_on, item.is_group, item.unit_id), []).append(item)
    rows = [
        (
            i[0].unit,
            say_position(i[0]),
            ", ".join(context.book.name_duty(item.duty) for item in i),
            i[0].due_on,
            i[0].days_overdue,
        )
        for i in units.values()
    ]
    columns = "unit=Unit or group; position_no=Position; duty=Duty; due_on=Due:date; days_overdue=Days:count"
    whole = f"Overdue, longest first: {words.say_count(len(late), 'item')} (a unit or group and a duty)"
    return Listing("late", whole, columns, (34, 17, 30, None, None), rows, "Nothing is overdue on this date.")


def list_ahead(data: VesselData, context: Context) -> Listing:
    """What falls due by duty: the first day, and how many within 30, 60 and 90 days."""
    rows = []
    for duty in context.book.duties:
        days = sorted(i.due_on for i in data.items if i.duty == duty and i.state == "in time" and i.due_on)
        if days:
            within = (sum((day - context.as_of).days <= most for day in days) for most in (30, 60, AHEAD_DAYS))
            rows.append((words.say_capital(context.book.name_duty(duty)), days[0], *within))
    columns = f"duty=Duty; first_on=First:date; in_30=30 days:count; in_60=60 days:count; in_90={AHEAD_DAYS} days:count"
    return Listing(
        "ahead", f"Falling due within {AHEAD_DAYS} days", columns, (17, None, None, None, None), rows, f"Nothing falls due within {AHEAD_DAYS} days."
    )  # fmt: skip


def list_against(data: VesselData) -> Listing:
    """Units to condemn, unfit, or in the wrong place, a line each with every reason and its rule."""
    units: dict[str, list[Row]] = {}
    for row in (row for kind in STANDS for row in data.verdicts if row.verdict == kind):
        units.setdefault(row.unit_id, []).append(row)
    rows = [
        (unit, r[0].position_no, STANDS[r[0].verdict], "; ".join(dict.fromkeys(f"{row.reason} ({row.rule_id})" for row in r)))
        for unit, r in units.items()
    ]
    counts = {kind: sum(r[0].verdict == kind for r in units.values()) for kind in STANDS}
    said = ", ".join(f"{words.say_number(n)} {STANDS[kind]}" for kind, n in counts.items() if n)
    columns = "unit=Unit; position_no=Position; verdict=Stands; reason=Reason and rule"
    empty = "By the rules in force nothing on record stands against a unit."
    return Listing("against", f"Units by the worst that stands against them: {said}", columns, (14, 11, 11, 72), rows, empty)


def list_found(data: VesselData) -> Listing:
    """Open unfit and major findings, worst first; several reports of one stand together, from the first on."""
    worst = [f for f in data.findings if f.severity in WORST]
    units: dict[tuple, list[Row]] = {}
    for f in worst:
        said = f"{words.say_slug(f.component)}: {words.say_slug(f.defect)}"
        units.setdefault((f.unit_id, f.severity, said), []).append(f)
    rows = [(unit, severity, min(f.found_on for f in fs), said) for (unit, severity, said), fs in units.items()]
    others = len(data.findings) - len(worst)
    apart = sum(f.counted != "in service" for f in worst)
    whole = f"Open unfit and major findings: {words.say_count(len(worst), 'report')}"
    whole += (f", {apart} on units counted apart" if apart else "") + (f", {others} others" if others else "")
    empty = "No unfit or major finding is open." + (f" Others: {others}." if others else "")
    return Listing(
        "found", whole, "unit=Unit; severity=Severity; found_on=Open since:date; defect=Defect", (12, 8, None, 19), rows, empty
    )


def list_short(data: VesselData) -> Listing:
    """Numbers and spares that are short."""
    rows = [
        (words.say_capital(r.title), words.say_slug(r.agent) if r.agent else "", r.required, r.usable, r.short_by)
        for r in data.numbers
        if r.short_by
    ]
    columns = "what=Numbers and spares; agent=Agent; required=Required:count; usable=Of use:count; short_by=Short by:count"
    whole, empty = f"Numbers and spares short: {len(rows)}", "No number on record is short of a rule."
    return Listing("short", whole, columns, (20, 8, None, None, None), rows, empty)
