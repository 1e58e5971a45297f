"""Lists of units by what stands against them, and by the corrosion found on them.

In: figure.verdict, placement_now, watch_list, watch_reason, pit_reading, unit_now, record.finding. Out: lines of lists.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import duckdb

from dashboards import words
from dashboards.blocks import Context
from dashboards.database import select_rows
from dashboards.pages import verdict_rows, verdict_words
from dashboards.pages.list_book import Named
from dashboards.pages.list_units import make_entry
from dashboards.pages.unit_names import name_safely

Row = Any
HARD_SQL = """
    SELECT l.imo_number, l.unit_id, NULL AS position_no, NULL AS space_name, l.hard_reason AS why, f.path, r.line_no
    FROM figure.watch_list AS l
    LEFT JOIN (SELECT * FROM figure.watch_reason WHERE kind = 'hard'
               QUALIFY row_number() OVER (PARTITION BY unit_id ORDER BY reason_no, seen_on DESC NULLS LAST, file_id, line_no) = 1) AS r
        USING (unit_id)
    LEFT JOIN intake.file AS f USING (file_id)
    WHERE l.hard_reason IS NOT NULL ORDER BY l.list_rank"""
# The units that figure.corrosion_by_age counts, by its own rule; the worst finding of each stands for it, else its row in the register.
AGES_SQL = """
    WITH corroded AS (
        SELECT unit_id, found_on, rust_grade, file_id, line_no, max(rust_grade) OVER (PARTITION BY unit_id) AS worst FROM record.finding
        WHERE defect = 'corrosion' AND found_on <= $day
        QUALIFY row_number() OVER (PARTITION BY unit_id ORDER BY rust_grade DESC NULLS LAST, found_on, file_id, line_no) = 1)
    SELECT n.imo_number, n.unit_id, n.position_no, n.space_name, b.band, coalesce(n.agent, 'not stated') AS agent, c.worst, c.found_on,
        coalesce(n.lining, 'not stated') AS lining, coalesce(n.space_category, 'not stated') AS space_category, n.made_on,
        f.path, coalesce(c.line_no, n.line_no) AS line_no
    FROM figure.unit_now AS n
    JOIN (VALUES (0, 5, '0–4'), (5, 10, '5–9'), (10, 15, '10–14'), (15, 20, '15–19'), (20, 1000, '20 and over')) AS b (low, high, band)
        ON n.made_on + to_years(b.low) <= $day AND n.made_on + to_years(b.high) > $day
    LEFT JOIN corroded AS c ON c.unit_id = n.unit_id
    LEFT JOIN intake.file AS f ON f.file_id = if(c.unit_id IS NULL, n.file_id, c.file_id)
    WHERE n.counted = 'in service' AND (n.last_inspected_on IS NOT NULL OR n.last_serviced_on IS NOT NULL
        OR n.unit_id IN (SELECT unit_id FROM record.finding WHERE found_on <= $day))
    QUALIFY row_number() OVER (PARTITION BY n.unit_id
        ORDER BY coalesce(n.in_service_on, n.made_on) DESC, n.in_service_on DESC NULLS LAST, n.imo_number) = 1
    ORDER BY b.low, n.imo_number, n.position_no NULLS LAST, n.unit_id"""
PITS_SQL = """
    SELECT p.imo_number, p.unit_id, NULL AS position_no, NULL AS space_name, p.shell_material, p.pit_depth_mm, p.found_on, f.path, d.line_no
    FROM figure.pit_reading AS p
    LEFT JOIN (SELECT * FROM record.finding WHERE pit_depth_mm > 0
               QUALIFY row_number() OVER (PARTITION BY unit_id, found_on, pit_depth_mm ORDER BY file_id, line_no) = 1) AS d
        ON d.unit_id = p.unit_id AND d.found_on = p.found_on AND d.pit_depth_mm = p.pit_depth_mm
    LEFT JOIN intake.file AS f USING (file_id)
    ORDER BY p.pit_depth_mm DESC, p.unit_id"""
SPLITS = ("agent", "lining", "space_category")


def list_verdicts(con: duckdb.DuckDBPyConnection, context: Context) -> Iterator[Named]:
    """Each unit once for a verdict, once for unfit or to condemn, and once for each title of a rule."""
    lists: dict[tuple[str, str], dict[tuple, list[Row]]] = {}
    for row in verdict_rows.read_verdicts(con):
        key, name = (row.imo_number, row.unit_id), verdict_words.NAMES[row.verdict]
        wanted = [(row.verdict, name), (name_reason(row.verdict, row.title), f"{name}: {row.title}")]
        wanted += [("against", "Unfit or to condemn")] if row.verdict in ("unfit", "condemn") else []
        for which in wanted:
            lists.setdefault(which, {}).setdefault(key, []).append(row)
    for (name, title), units in lists.items():
        for rows in units.values():
            yield name, title, make_entry(rows[0], "; ".join(dict.fromkeys(row.reason for row in rows)))


def name_reason(verdict: str, title: str) -> str:
    """The list of the units that one rule's title stands against."""
    return f"{verdict}-{name_safely(title)}"


def list_hard(con: duckdb.DuckDBPyConnection, context: Context) -> Iterator[Named]:
    """Units that head the watch list for a hard reason."""
    for row in select_rows(con, HARD_SQL):
        yield "hard", "Units with a hard reason to be condemned", make_entry(row, row.why)


def name_band(band: str, which: str, column: str = "", value: str = "") -> str:
    """The list of a band of ages: all that were looked at, or those with corrosion or with a worst grade."""
    return f"{which}-{name_safely('|'.join((band, column, value)))}"


def list_ages(con: duckdb.DuckDBPyConnection, context: Context) -> Iterator[Named]:
    """Units in service that were looked at, by age, split as the Corrosion page splits them."""
    for row in select_rows(con, AGES_SQL, day=context.as_of):
        said = (
            f"corrosion found {words.say_date(row.found_on)}, worst grade {row.worst or 'not stated'}"
            if row.found_on
            else "no corrosion found"
        )
        entry = make_entry(row, f"made {words.say_date(row.made_on)}; {said}")
        for column, value in (("", ""), *((column, getattr(row, column)) for column in SPLITS)):
            split = f", {words.say_slug(value)}" if value else ""
            yield name_band(row.band, "age", column, value), f"Looked at, aged {row.band} years{split}", entry
            if row.found_on:
                yield name_band(row.band, "corroded", column, value), f"Corrosion ever found, aged {row.band} years{split}", entry
        if row.found_on:
            grade = row.worst if row.worst and row.worst != "Ri0" else "ungraded"
            yield name_band(row.band, f"grade-{grade.lower()}"), f"Worst rust grade {grade}, aged {row.band} years", entry


def list_pits(con: duckdb.DuckDBPyConnection, context: Context) -> Iterator[Named]:
    """Units with a measured pit, deepest first."""
    for row in select_rows(con, PITS_SQL):
        entry = make_entry(row, f"pit of {words.say_number(row.pit_depth_mm, 2)} mm, measured {words.say_date(row.found_on)}")
        for shell in ("*", row.shell_material):
            of = "" if shell == "*" else f", {words.say_slug(shell)}"
            yield f"pits-{name_safely(shell)}", f"Units with a measured pit{of}", entry
