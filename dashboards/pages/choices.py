"""A part of the fleet that the reader chooses: the numbers that choose.js adds up, and the same as CSV.

In: figure.overdue_part, watched_part, defect_part, corrosion_part, agent_part. Out: a section for each of four pages. What is
added up are counts; limits are those of the figures: Garwood for defects, as a table, Wilson for shares, in the script.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from operator import attrgetter
from typing import Any

import duckdb

from dashboards import words
from dashboards.blocks import Choice, Context, Section, Table, name_columns
from dashboards.database import select_rows

Row = Any
MOST_LIMITS = 2000  # beyond it the script's approximation is within a thousandth
HEADINGS = {
    "month_end": ("month", "Period", "month", "Month"),
    "age_band_years": ("age", "Age", "age", "Age, years"),
    "imo_number": ("vessel", "Vessel", "vessel", "Vessel"),
    "agent": ("agent", "Agent", "agent", "Agent"),
    "space_category": ("space", "Kind of space", "kind of space", "Kind of space"),
    "kind": ("kind", "Defect", "defect", "Defect"),
}
HINT = "The choice stands in the address of the page, so that it can be sent as a link."
PLAIN = "To choose a part of the fleet the page needs a script; the CSV holds every number that it would add up."
WHERE = "Agent and space are those of a unit’s last stay on the vessel."
INDEPENDENT = "Limits take units and defects as independent; those of one vessel share its weather and its crew, so a difference near the edge is less sure."
OVERDUE_SQL = """
    SELECT month_end, imo_number, agent, space_category, overdue_unit_days, unit_days, overdue, units FROM figure.overdue_part
    ORDER BY month_end, imo_number, agent, space_category"""
FOUND_SQL = """
    SELECT month_end, imo_number, agent, space_category, findings,
        CASE WHEN starts_with(defect, component || '_') THEN defect ELSE component || ' ' || defect END AS kind
    FROM figure.defect_part ORDER BY month_end, imo_number, agent, space_category, component, defect"""
WATCHED_SQL = """
    SELECT month_end, imo_number, agent, space_category, unit_days FROM figure.watched_part
    ORDER BY month_end, imo_number, agent, space_category"""
CORROSION_SQL = """
    SELECT age_band_years, imo_number, agent, space_category, units_corroded, units FROM figure.corrosion_part
    ORDER BY regexp_extract(age_band_years, '^[0-9]+')::INTEGER, imo_number, agent, space_category"""
AGENTS_SQL = "SELECT imo_number, agent, space_category, units FROM figure.agent_part ORDER BY imo_number, agent, space_category"
# For each page: what it compares by at first, its queries, and the remark.
KINDS = {
    "overdue": ("vessel", (OVERDUE_SQL,), f"A census: no interval. {WHERE}"),
    "defects": ("kind", (FOUND_SQL, WATCHED_SQL), f"{INDEPENDENT} {WHERE}"),
    "corrosion": ("age", (CORROSION_SQL,), f"Survivors only. {INDEPENDENT}"),
    "agents": ("space", (AGENTS_SQL,), "A census: no interval."),
}


def name_value(column: str, value: Any, context: Context) -> str:
    """A value of a dimension in words."""
    if column == "imo_number":
        return words.cut_name(context.name_vessel(value))
    return words.say_month(value) if isinstance(value, date) else words.say_slug(value)


def order_values(column: str, rows: Sequence[Row], context: Context) -> list[Any]:
    """The values of a dimension: months and ages in time, the rest by name."""
    values = dict.fromkeys(map(attrgetter(column), rows))
    if column in ("month_end", "age_band_years"):
        return list(values)
    return sorted(values, key=lambda v: (name_value(column, v, context).casefold(), str(v)))


def list_periods(months: list[date]) -> list[dict]:
    """Twelve months, the twelve before, all of them, calendar years, single months: each from and to a month by its place."""
    last = len(months) - 1
    spans = [("last12", max(0, last - 11), last)]
    spans += [("before12", last - 23, last - 12)] if last >= 23 else []
    spans += [("all", 0, last)] if last > 11 else []
    for year in sorted({m.year for m in months}, reverse=True):
        mine = [i for i, m in enumerate(months) if m.year == year]
        spans.append((str(year), mine[0], mine[-1]))
    spans += [(f"{months[i]:%Y-%m}", i, i) for i in range(last, -1, -1)]
    return [{"id": name, "name": say_span(months[a], months[b]), "from": a, "to": b} for name, a, b in spans] if months else []


def say_span(first: date, last: date) -> str:
    """'Nov 2025 to 14 Oct 2026', a month alone by its name."""
    end = words.say_month_to(last)
    return (
        end if first == last else f"{words.say_month(first)} to {end if end == words.say_month(last) else words.say_date(last)}"
    )


def pack_sets(sets: Sequence[Sequence[Row]], context: Context) -> tuple[dict, list[dict], list[date]]:
    """Dimensions, and rows as columns of places in them and of counts."""
    columns = [c for c in HEADINGS if any(rows and c in rows[0]._fields for rows in sets)]
    values = {c: order_values(c, [r for rows in sets for r in rows if c in r._fields], context) for c in columns}
    if "month_end" in values:
        values["month_end"].sort()
    places = {c: {v: i for i, v in enumerate(values[c])} for c in columns}
    packed = [
        {
            "keys": {
                HEADINGS[c][0]: list(map(places[c].__getitem__, map(attrgetter(c), rows)))
                for c in columns
                if c in rows[0]._fields
            },
            "values": {c: list(map(attrgetter(c), rows)) for c in rows[0]._fields if c not in HEADINGS},
        }
        for rows in sets
        if rows
    ]
    dimensions = {
        HEADINGS[c][0]: {
            "label": HEADINGS[c][1],
            "one": HEADINGS[c][2],
            "head": HEADINGS[c][3],
            "ids": [str(v) for v in values[c]],
            "names": [name_value(c, v, context) for v in values[c]],
            "is_ordered": c in ("month_end", "age_band_years"),
        }
        for c in columns
    }
    return dimensions, packed, values.get("month_end", [])


def list_limits(most: int) -> dict[str, list[float]]:
    """Garwood's limits of every count up to `most`, to five digits."""
    from scipy.special import gammaincinv  # the quantiles of chi2 halved; scipy.stats would take a second of every command

    counts = range(min(most, MOST_LIMITS) + 1)
    low = [0.0 if n == 0 else gammaincinv(n, 0.025) for n in counts]
    high = [gammaincinv(n + 1, 0.975) for n in counts]
    return {"low": [float(f"{v:.5g}") for v in low], "high": [float(f"{v:.5g}") for v in high]}


def list_cells(rows: Sequence[Row]) -> tuple[str, tuple[tuple, ...]]:
    """Columns and rows of the CSV; what the figures count stands under its own name."""
    fields = rows[0]._fields if rows else ()
    spec = "; ".join(f"{f}={words.say_slug(f)}:{'text' if f in HEADINGS else 'count'}" for f in fields)
    return spec, tuple(tuple(row) for row in rows)


def list_section(con: duckdb.DuckDBPyConnection, context: Context, kind: str) -> tuple[Section, ...]:
    """The section of a page; none where there is nothing to add up."""
    by, queries, remark = KINDS[kind]
    sets = [select_rows(con, sql) for sql in queries]
    if not any(sets):
        return ()
    dimensions, packed, months = pack_sets(sets, context)
    parts = {
        "kind": kind,
        "by": by if by in dimensions else "vessel",
        "dimensions": dimensions,
        "periods": list_periods(months),
        "month_ends": [words.say_date(m) for m in months],
        "sets": packed,
    }
    if kind == "defects":
        parts["limits"] = list_limits(sum(r.findings for r in sets[0]))
    tables = []
    for name, rows in zip(("parts", "watched"), filter(None, sets), strict=False):
        spec, cells = list_cells(rows)
        tables.append(Table(name, "The numbers behind the choice", name_columns(spec), cells))
    block = Choice("choose", parts, tuple(tables), PLAIN)
    return (Section("choose", "A part of the fleet", (block,), f"{HINT} {remark}", is_wide=True),)
