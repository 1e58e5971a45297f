"""The vessel table of the Fleet page: the 50 most in need first, the rest on further pages.

In: figure.overdue_monthly (as months), unit_now, duty_now, freshness. Out: a section and, where the fleet is large, pages.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import duckdb

from dashboards import standing, words
from dashboards.blocks import Context, Link, Note, Page, Section, Table, Vessel, name_columns
from dashboards.database import select_rows
from dashboards.standing import Comparison, Months, to_pct

FIRST = 50
PER_PAGE = 200
TREND_MONTHS = 12
SIDE_SQL = """
    SELECT imo_number, coalesce(open_findings, 0) AS open_findings, worst, coalesce(due_90, 0) AS due_90, last_record_on, days_since
    FROM record.vessel
    LEFT JOIN (SELECT imo_number, sum(open_findings) AS open_findings, arg_min(worst_open_severity,
                   list_position(['unfit', 'major', 'minor'], worst_open_severity)) AS worst FROM figure.unit_now
               WHERE counted = 'in service' GROUP BY ALL) USING (imo_number)
    LEFT JOIN (SELECT imo_number, count(*) AS due_90 FROM figure.duty_now
               WHERE state = 'in time' AND due_on <= $day::DATE + 90 AND NOT list_contains($rounds, duty) GROUP BY ALL) USING (imo_number)
    LEFT JOIN figure.freshness USING (imo_number)
    ORDER BY imo_number"""


@dataclass(frozen=True)
class VesselRow:
    """One vessel's line."""

    vessel: Vessel
    standing: Comparison | None
    trend: tuple[float | None, ...]
    side: Any

    @property
    def need(self) -> tuple:
        """Sort key: most units overdue first, then the larger share, then by name."""
        now = self.standing.now if self.standing else None
        return (-(now.overdue if now else -1), -((now.rate or 0) if now else -1), self.vessel.name, self.vessel.imo_number)


def read_vessels(con: duckdb.DuckDBPyConnection, context: Context, months: Months) -> list[VesselRow]:
    """Every vessel of the fleet, most in need first."""
    side = {row.imo_number: row for row in select_rows(con, SIDE_SQL, day=context.as_of, rounds=context.book.rounds)}
    rows = []
    for vessel in context.vessels:
        mine = months.get((vessel.imo_number, "*"), [])
        trend = tuple(to_pct(m.days_rate) for m in mine[-TREND_MONTHS:])
        rows.append(VesselRow(vessel, standing.compare_months(mine, context.as_of), trend, side[vessel.imo_number]))
    return sorted(rows, key=lambda row: row.need)


def list_vessels(rows: list[VesselRow], name: str, caption: str, context: Context) -> Table:
    """The table of some vessels."""
    columns = name_columns(
        "vessel=Vessel:link; imo_number=IMO number:code; units_in_service=Units in service:count; "
        "overdue=Overdue now:share; unknown_units=Can't be told:count; change_on_month=Change on the month:change; "
        "unit_days_overdue_pct_by_month=Unit-days overdue, last 12 months:spark; "
        "due_within_90_days=Due in 90 days, checks apart:count; open_findings=Open findings:found; "
        "last_record_on=Last record:date"
    )  # fmt: skip
    cells = []
    for row in rows:
        now, imo = row.standing.now if row.standing else None, row.vessel.imo_number
        found = None if row.side.open_findings is None else int(row.side.open_findings)
        cells.append(
            (
                row.vessel.link,
                row.vessel.imo_number,
                context.count(now.units, "duty-any", imo) if now else 0,
                (context.count(now.overdue, "overdue-any", imo), now.units) if now else (None, None),
                context.count(now.unknown, "unknown-any", imo) if now else None,
                row.standing.change_on_month if row.standing else None,
                row.trend,
                context.count(row.side.due_90, "due-90", imo),
                (context.count(found, "open-findings", imo), row.side.worst),
                row.side.last_record_on,
            )
        )
    return Table(name, caption, columns, tuple(cells))


def make_section(rows: list[VesselRow], context: Context, further: list[Link]) -> Section:
    """The first vessels; what follows is linked."""
    caption = f"{words.say_capital(words.say_count(len(rows), 'vessel'))}, most units overdue first" + (
        f"; the first {FIRST}" if further else ""
    )
    blocks: list = [list_vessels(rows[:FIRST], "vessels", caption, context)]
    if further:
        blocks.append(
            Table(
                "further",
                "The rest of the fleet",
                name_columns("page=Further vessels:link"),
                tuple((link,) for link in further),
                has_twin=False,
            )
        )
    remark = (
        "The order says where to look first, not which vessel is worst: many units due at one call make many "
        "late at once. All small trends share one scale, from zero."
    )
    return Section("vessels", "Vessels", tuple(blocks), remark, is_wide=True)


def make_further_pages(rows: list[VesselRow], context: Context) -> list[Page]:
    """Pages of the vessels after the first 50."""
    pages = []
    for number, start in enumerate(range(FIRST, len(rows), PER_PAGE), start=2):
        part = rows[start : start + PER_PAGE]
        title = f"Vessels {start + 1} to {start + len(part)}"
        late = sum(r.standing.now.overdue for r in part if r.standing)
        answer = (
            f"On {words.say_date(context.as_of)} {words.say_count(late, 'unit')} of these "
            f"{words.say_count(len(part), 'vessel')} {words.say_verb(late, 'was', 'were')} overdue; those most in need stand on the Fleet page."
        )
        table = list_vessels(part, "vessels", f"{title} of {words.say_number(len(rows))}, most units overdue first", context)
        section = Section(
            "vessels", "Vessels", (table, Note("All small trends of this table share one scale, from zero.")), is_wide=True
        )
        pages.append(
            Page(
                f"fleet-{number}.html",
                title,
                "How do the vessels with less overdue stand?",
                answer,
                (section,),
                nav="index.html",
                crumbs=(Link("Fleet", "index.html"),),
            )
        )
    return pages
